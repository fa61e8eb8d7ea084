"""Spots side by side as plain values."""

from __future__ import annotations

from collections.abc import Sequence

from survey.comparison import Comparison
from survey.links import STATES
from survey.records.place import score_record
from survey.records.values import Record, plain


def compare_record(comparison: Comparison, *, inverters: Sequence[str] = ()) -> Record:
    """What `survey compare --json` prints; with names of inverters, of the links only theirs."""
    links, scores = comparison.links, comparison.scores
    names = links.inverters.names
    margins, chances, states = plain(links.margin_db), plain(links.reliability), links.state.tolist()
    return {
        "plan": links.scene.plan.file,
        "site": links.scene.plan.site.name,
        "spots": [score_record(scores, names, i) for i in range(len(scores.spots))],
        "links": [
            {
                "inverter": inverter,
                "spots": {
                    spot: {"margin_db": margins[i][j], "reliability": chances[i][j], "state": STATES[states[i][j]]}
                    for j, spot in enumerate(links.gateways.names)
                },
            }
            for i, inverter in ((names.index(name), name) for name in dict.fromkeys(inverters or names))
        ],
    }
