"""Stretches in which all of a group are silent together: gateway or network, supply branch, and single units."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray, runs_of
from survey.base.layout import counted
from survey.measured.dropouts.book import Book, duration
from survey.measured.dropouts.causes import GATEWAY
from survey.measured.dropouts.chances import rates

CHANCE = np.log(1e-9)
"""A silence less likely than this is no accident."""
LEAST_LINKS, LEAST_IN_BRANCH = 3, 2
"""Fewer inverters show no outage of a gateway, or of a branch: docs/dropouts.md."""
STRAY_SHARE = 0.02
"""Share of a group that may be heard in a stretch that belongs to two intervals. [-]"""
AROUND, CLOSE = 12, 5
"""Polls before and after a stretch that show what is usual there; set by trials on invented logs."""
PARTLY, EDGE = 0.3, 0.15
"""Share of a group that must be silent round about a stretch for chance to explain it, and in the interval in which
it began. [-]"""
DEAD = 0.97
"""Share of misses of a link that tells nothing of outages; set by trials on invented logs. [-]"""
DARK_S = 5_400
"""A stretch at dusk shorter than this proves nothing; set by trials on invented logs. [s]"""
LEAST_RUN = 3
"""Polls that a silence has at least; set by trials on invented logs."""
SAME = 1
"""Polls by which silences of one branch may differ: docs/dropouts.md."""
SOUND_DB = 6.0
"""Margin from which the silence of a branch is not put down to its links; set by trials on invented logs. [dB]"""
MOSTLY_SILENT = 0.9
"""The silence of a link that misses more than this says nothing, unless it should hold. [-]"""


@dataclass(frozen=True)
class Stretch:
    """Times from one to another, by their numbers, the last not included."""

    begin: int
    end: int


def silences(
    book: Book, links: IntArray, usual: FloatArray, *, others: BoolArray | None = None, dusk: BoolArray | None = None
) -> list[Stretch]:
    """Stretches in which a group of links is silent together and that cannot be an accident.

    Parameters
    ----------
    book : Book
        What is open.
    links : ndarray of int
        The group.
    usual : ndarray of float, shape (links of the book,)
        Share of misses of each link at other times.
    others : ndarray of bool, optional
        Links of which more than half must be heard meanwhile.
    dusk : ndarray of bool, shape (times,), optional
        Times that say nothing by themselves, since the group may lack light that others have.
    """
    silent, polled = book.silent[links], book.open[links]
    count, asked = silent.sum(axis=0), polled.sum(axis=0)
    allowed = np.floor(STRAY_SHARE * asked)
    together = (asked > 0) & (asked - count <= allowed) & (count > 0)
    if others is not None:
        rest_asked, rest_silent = book.open[others].sum(axis=0), book.silent[others].sum(axis=0)
        together &= (rest_asked > 0) & (2 * rest_silent < rest_asked)
    active = np.flatnonzero(asked > 0)
    surprise = np.log(np.clip(usual[links], 0.01, 1.0)) @ silent
    share = np.divide(count, asked, out=np.zeros(len(asked)), where=asked > 0)
    found = []
    for begin, end in zip(*runs_of(together[active]), strict=True):
        times = active[begin:end]
        if dusk is not None:
            times = times[~dusk[times]]
        local = _round_about(share[active], begin, end)
        chance = float(surprise[times].sum())
        usually = float(np.mean(usual[links]))
        if local > PARTLY:  # partly silent round about
            chance = max(chance, float(np.log(min(local, 0.99)) * count[times].sum()))
        if others is not None and len(times):  # others miss much at that time too
            elsewhere = float(rest_silent[times].sum() / max(rest_asked[times].sum(), 1))
            if elsewhere > 2.0 * usually:
                chance = max(chance, float(np.log(elsewhere) * count[times].sum()))
        if chance < CHANCE:
            first, last = int(begin), int(end)
            if first > 0 and share[active[first - 1]] > EDGE + local:
                first -= 1
            if last < len(active) and share[active[last]] > EDGE + local:
                last += 1
            found.append(Stretch(begin=int(active[first]), end=int(active[last - 1]) + 1))
    return found


def _round_about(share: FloatArray, begin: int, end: int) -> float:
    """Share of a group that is silent shortly before and after a stretch, whichever neighbourhood says most."""
    found = 0.0
    for around in (AROUND, CLOSE):
        near = np.concatenate([share[max(0, begin - around) : max(0, begin - 1)], share[end + 1 : end + around]])
        found = max(found, float(np.mean(near)) if len(near) else 0.0)
    return found


def usual_rates(book: Book) -> FloatArray:
    """Share of misses of each link while its gateway hears anybody at all."""
    missed, polls = np.zeros(len(book.names)), np.zeros(len(book.names))
    for links in groups_of(book.gateways).values():
        alive = (np.where(book.open[links], book.log.heard[links], 0) > 0).any(axis=0)
        cells = book.open[links] & alive
        polls[links] = np.where(cells, book.log.polls[links], 0).sum(axis=1, dtype=np.int64)
        missed[links] = polls[links] - np.where(cells, book.log.heard[links], 0).sum(axis=1, dtype=np.int64)
    return rates(missed, polls)


def groups_of(labels: tuple[str, ...]) -> dict[str, IntArray]:
    """Links by label, those without one left out."""
    found: dict[str, list[int]] = {}
    for i, label in enumerate(labels):
        if label:
            found.setdefault(label, []).append(i)
    return {label: np.array(links) for label, links in found.items()}


def close_all(book: Book, stretches: list[Stretch], links: IntArray) -> tuple[FloatArray, float, float, float]:
    """Take stretches out; missed polls by link, begin, end, and daylight in all together. [s]"""
    cells = np.zeros((1, book.open.shape[1]), dtype=bool)
    length_s = 0.0
    for stretch in stretches:
        one = Stretch(*book.outage(links, stretch.begin, stretch.end))
        length_s += book.daytime_s(links, one.begin, one.end)
        cells[:, one.begin : one.end] = True
    struck = np.flatnonzero((cells & book.open[links]).any(axis=0))
    first_s, last_s = (float(book.log.time_s[struck[k]]) for k in (0, -1))
    missed = book.close(np.broadcast_to(cells, (len(links), cells.shape[1])), links)
    return missed, first_s, last_s, length_s


def gateway_outages(book: Book, dusk: BoolArray) -> None:
    """Find times at which a gateway hears no inverter; short ones near the ends of a day are the dark."""
    usual = usual_rates(book)
    groups, times = groups_of(book.gateways), book.log.time_s
    told = np.where(usual > MOSTLY_SILENT, 1.0, usual)
    found = {name: silences(book, links, told) for name, links in groups.items() if len(links) >= LEAST_LINKS}
    for name, links in groups.items():
        stretches = [
            one
            for one in found.get(name, [])
            if not dusk[one.begin : one.end].all() or times[one.end - 1] - times[one.begin] >= DARK_S
        ]
        if not stretches or (usual[links] < DEAD).sum() < LEAST_LINKS:
            continue
        shared = [
            one
            for one in stretches
            if len(groups) > 1
            and all(any(a.begin < one.end and one.begin < a.end for a in found.get(g, [])) for g in groups)
        ]
        from_start, to_end = edges_of(book, links, stretches)
        missed, first_s, last_s, length_s = close_all(book, stretches, links)
        together = f"; {len(shared)} of them at all gateways at once" if shared else ""
        evidence = (
            f"no answer from any of its {counted(len(links), 'inverter')}: {outages_words(len(stretches), length_s)}"
        )
        book.add(
            GATEWAY,
            missed,
            first_s=first_s,
            last_s=last_s,
            evidence=evidence + together,
            subject=name,
            from_start=from_start,
            to_end=to_end,
        )


def outages_words(count: int, length_s: float) -> str:
    """How many outages, and how long they are by daylight."""
    return f"{counted(count, 'outage')}, {duration(length_s, in_days=False)} of daytime in all"


def edges_of(book: Book, links: IntArray, stretches: Sequence[Stretch]) -> tuple[bool, bool]:
    """Whether outages reach the first poll of some links, and the last."""
    return book.reaches(links, stretches[0].begin, stretches[0].end)[0], book.reaches(
        links, stretches[-1].begin, stretches[-1].end
    )[1]


@dataclass(frozen=True, kw_only=True)
class Run:
    """A silence of one link that is no accident: open cells from one to another of its own count."""

    link: int
    begin: int
    end: int
    polls: int


def long_runs(book: Book, usual: FloatArray, *, chance: float = CHANCE) -> Iterator[Run]:
    """Silences of single links that their own usual misses explain with no more than a chance, given as a logarithm."""
    for i in range(len(book.names)):
        cells = np.flatnonzero(book.open[i])
        if not len(cells):
            continue
        silent = book.log.heard[i, cells] == 0
        rate = float(np.clip(usual[i], 0.02, 0.98))
        least = max(LEAST_RUN, chance / np.log(rate))
        begins, ends = runs_of(silent)
        long = ends - begins >= least
        short = silent.astype(np.float64)  # what is usual is told by what is no such silence itself
        for begin, end in zip(begins[long].tolist(), ends[long].tolist(), strict=True):
            short[begin:end] = np.nan
        for begin, end in zip(begins[long].tolist(), ends[long].tolist(), strict=True):
            near = np.concatenate([short[max(0, begin - 2 * AROUND) : begin], short[end : end + 2 * AROUND]])
            near = near[np.isfinite(near)]
            local = float(np.clip(near.mean() if len(near) else 0.0, rate, 0.99))
            if (end - begin) * np.log(local) < chance:
                yield Run(link=i, begin=int(cells[begin]), end=int(cells[end - 1]) + 1, polls=end - begin)


def shared_runs(runs: list[Run], mark: IntArray) -> list[tuple[Stretch, IntArray]]:
    """Runs that begin and end together: several links on one supply, by time.

    Parameters
    ----------
    runs : list of Run
        Of single links.
    mark : ndarray of int, shape (times,)
        Number by which a time is told from another: times close to a day's ends share one.
    """
    found = []
    rest = sorted(runs, key=lambda one: one.begin)
    while rest:
        first = rest[0]
        begin, end = mark[first.begin], mark[first.end - 1]
        group = [one for one in rest if abs(mark[one.begin] - begin) <= SAME and abs(mark[one.end - 1] - end) <= SAME]
        rest = [one for one in rest if one not in group]
        links = np.unique([one.link for one in group])
        if len(links) >= LEAST_IN_BRANCH:
            stretch = Stretch(begin=min(one.begin for one in group), end=max(one.end for one in group))
            found.append((stretch, links))
    return found
