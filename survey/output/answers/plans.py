"""The same spots in two plans: what changed, link by link, and the cause."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from survey.base.layout import Column, counted, labelled, paragraphs, table, wrapped
from survey.budget import STATES, Links
from survey.decisions.comparison import BetweenPlans, Change
from survey.decisions.simulation import pair_of
from survey.output.answers.figures import CAUTION, criterion, fit_words, margin, radio_words, signed_db, wanted_line
from survey.output.answers.place import RANKING_COLUMNS, ranking_row
from survey.output.answers.place_record import score_record
from survey.output.answers.sure import served_record, served_words, share
from survey.output.answers.values import Record, plain

REST = "radio, environment, positions or modules"
"""The name of any other change of a plan."""

CHANGE_COLUMNS = (
    Column("inverter", text=True),
    Column("before\nmargin", spare=2),
    Column("\nstate", text=True),
    Column("after\nmargin", spare=1),
    Column("\nstate", text=True),
    Column("change\ndB"),
    Column("main cause", text=True, yields=True),
    Column("its\neffect dB", spare=3),
)
"""A link in two plans as a row; what a narrow terminal can do without is a judgement."""


def change_words(change: Change) -> str:
    """Return the name of a change.

    Examples
    --------
    >>> change_words(Change(name="container 4", kind="box", how="new"))
    'container 4 (box, new)'
    """
    return REST if change.kind == "rest" else f"{change.name} ({change.kind}, {change.how})"


def plans_table(between: BetweenPlans, *, inverters: Sequence[str] = ()) -> str:
    """Return what `survey compare --with` prints: the differences, each spot before and after, every changed link.

    Parameters
    ----------
    between : BetweenPlans
        The comparison.
    inverters : sequence of str
        Show only the links of these, changed or not; without any, all that changed.
    """
    before, after = between.before.scene.plan, between.after.scene.plan
    changes = "; ".join(map(change_words, between.changes)) or "nothing that affects a link"
    head = [
        *labelled([("Before", before.file), ("After", after.file), ("Different", changes)]),
    ]
    wanted = [wanted_line(before)]
    if before.requirement != after.requirement:
        wanted = [wrapped(f"{name}: {criterion(plan)}") for name, plan in (("Before", before), ("After", after))]
        wanted.insert(0, wrapped(f"{before.site.name}, {radio_words(before)}"))
    wanted += map(wrapped, fit_words(between.after.scene, between.after))
    spots = [_spot(between, j, inverters) for j in range(between.before.shape[1])]
    return paragraphs("\n".join(wanted), "\n".join(["Two plans", *head]), *spots, wrapped(CAUTION))


def _spot(between: BetweenPlans, j: int, inverters: Sequence[str]) -> str:
    """Return one spot before and after."""
    names, spot = between.before.inverters.names, between.before.gateways.names[j]
    rows = [
        ranking_row(between.before_scores, names, "before", j),
        ranking_row(between.after_scores, names, "after", j),
    ]
    columns = [Column("plan", text=True), *RANKING_COLUMNS[1:]]
    changed, difference_db = between.changed[:, j], between.difference_db[:, j]
    if inverters:
        shown = [names.index(name) for name in dict.fromkeys(inverters)]
    else:
        shown = [i for i in np.argsort(difference_db, kind="stable").tolist() if changed[i]]
    same = len(names) - int(changed.sum())
    listing = ""
    if shown:
        title = "Link by link (margins in dB)"
        if max(links.scene.plan.requirement.max_relays for links in (between.before, between.after)):
            title = "Direct links (margins in dB). The counts above include relay routes."
        listing = title + "\n" + table(CHANGE_COLUMNS, [_row(between, i, j) for i in shown])
    counts = f"Links that do not change: {same} of {len(names)}"
    return paragraphs(_result(between, j, spot), table(columns, rows), listing, counts)


def _row(between: BetweenPlans, i: int, j: int) -> list[str]:
    before, after, cause = between.before, between.after, int(between.cause[i, j])
    by, alone = ("several causes", "") if between.changed[i, j] else ("", "")
    if cause >= 0:
        change = between.changes[cause]
        by, alone = change.name or REST, signed_db(between.cause_db[i, j])
    return [
        before.inverters.names[i],
        margin(before.margin_db[i, j]),
        STATES[before.state[i, j]],
        margin(after.margin_db[i, j]),
        STATES[after.state[i, j]],
        signed_db(between.difference_db[i, j]),
        by,
        alone,
    ]


def _result(between: BetweenPlans, j: int, spot: str) -> str:
    """Return what the changes do to one spot: covered and working inverters before and after, run by run."""
    before, after = between.before_drawn, between.after_drawn
    pair = pair_of(before.counts[:, j], after.counts[:, j], one=0, other=1)
    served = int(between.before_scores.served[j]), int(between.after_scores.served[j])
    fewer = f"fewer after in {share(pair.one_more)} of the runs" + (f" (by {pair.one_by:.1f})" if pair.one_more else "")
    more = f"more in {share(pair.other_more)}" + (f" (by {pair.other_by:.1f})" if pair.other_more else "")
    facts = [
        ("Coverage", f"{served[0]} before, {served[1]} after, of {counted(before.inverters, 'inverter')}"),
        ("Before", f"working {served_words(before.served(j))}"),
        ("After", f"working {served_words(after.served(j))}"),
        ("Certainty", f"{fewer}, equal in {share(pair.equal)}, {more}"),
    ]
    title = f"{spot}, in {counted(before.draws, 'simulation run')} of each plan (seed {before.seed})"
    return "\n".join([wrapped(title), *labelled(facts)])


def plans_record(between: BetweenPlans, *, inverters: Sequence[str] = ()) -> Record:
    """Return what `survey compare --with --json` prints; figures beside `after` are those of the first plan."""
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
