"""Spots between two plans as plain values."""

from __future__ import annotations

from collections.abc import Sequence

from survey.comparison import BetweenPlans
from survey.draws import pair_of
from survey.links import STATES, Links
from survey.records.place import score_record
from survey.records.sure import served_record
from survey.records.values import Record, plain


def plans_record(between: BetweenPlans, *, inverters: Sequence[str] = ()) -> Record:
    """What `survey compare --with --json` prints; figures beside `after` are those of the first plan."""
    before, after = between.before, between.after
    names = before.inverters.names
    return {
        "plan": before.scene.plan.file,
        "with": after.scene.plan.file,
        "site": before.scene.plan.site.name,
        "draws": between.before_drawn.draws,
        "seed": between.before_drawn.seed,
        "changes": [{"name": one.name or None, "kind": one.kind, "how": one.how} for one in between.changes],
        "spots": [_spot_record(between, j) for j in range(before.shape[1])],
        "links": [
            {
                "inverter": name,
                "spots": {
                    spot: _link_record(between, names.index(name), j) for j, spot in enumerate(before.gateways.names)
                },
            }
            for name in dict.fromkeys(inverters or names)
        ],
    }


def _spot_record(between: BetweenPlans, j: int) -> Record:
    """A spot as in a ranking, and the same after; and in draws."""
    names = between.before.inverters.names
    before, after = between.before_drawn, between.after_drawn
    pair = pair_of(before.counts[:, j], after.counts[:, j], one=0, other=1)
    return {
        **score_record(between.before_scores, names, j),
        "drawn": served_record(before.served(j)),
        "after": {**score_record(between.after_scores, names, j), "drawn": served_record(after.served(j))},
        "fewer_after": {"share": plain(pair.one_more), "by": plain(pair.one_by)},
        "more_after": {"share": plain(pair.other_more), "by": plain(pair.other_by)},
    }


def _link_record(between: BetweenPlans, i: int, j: int) -> Record:
    cause = int(between.cause[i, j])
    named = between.changes[cause] if cause >= 0 else None
    by = None
    if named is not None:
        alone_db = plain(between.cause_db[i, j])
        by = {"name": named.name or None, "kind": named.kind, "how": named.how, "alone_db": alone_db}
    return {
        **_verdict(between.before, i, j),
        "after": _verdict(between.after, i, j),
        "change_db": plain(between.difference_db[i, j]),
        "by": by,
    }


def _verdict(links: Links, i: int, j: int) -> Record:
    return {
        "margin_db": plain(links.margin_db[i, j]),
        "reliability": plain(links.reliability[i, j]),
        "state": STATES[links.state[i, j]],
    }
