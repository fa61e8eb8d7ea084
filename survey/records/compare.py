"""Spots side by side as plain values."""

from __future__ import annotations

from collections.abc import Sequence

from survey.comparison import Comparison
from survey.links import STATES
from survey.records.place import score_record
from survey.records.sure import served_record
from survey.records.values import Record, plain


def compare_record(comparison: Comparison, *, inverters: Sequence[str] = ()) -> Record:
    """What `survey compare --json` prints; with names of inverters, of the links only theirs."""
    links, scores, drawn = comparison.links, comparison.scores, comparison.drawn
    spots = links.gateways.names
    names = links.inverters.names
    margins, chances, states = plain(links.margin_db), plain(links.reliability), links.state.tolist()
    return {
        "plan": links.scene.plan.file,
        "site": links.scene.plan.site.name,
        "draws": drawn.draws,
        "seed": drawn.seed,
        "spots": [
            {**score_record(scores, names, i), "drawn": served_record(drawn.served(i))}
            for i in range(len(scores.spots))
        ],
        "pairs": [
            {
                "one": spots[pair.one],
                "other": spots[pair.other],
                "one_more": {"share": plain(pair.one_more), "by": plain(pair.one_by)},
                "equal_share": plain(pair.equal),
                "other_more": {"share": plain(pair.other_more), "by": plain(pair.other_by)},
            }
            for pair in drawn.pairs()
        ],
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
