"""Sentences of evidence, checked against the log that they speak of, for each cause."""

import dataclasses
import re

import numpy as np
import pytest
from dropout_logs import any_recipe, make

from survey.measured.dropouts import (
    BRANCH,
    FADING,
    GATEWAY,
    INTERFERENCE,
    LOW_LIGHT,
    MOVED,
    NO_FAULTS,
    OBSTACLE,
    UNIT,
    UNKNOWN,
    WEAK,
    sorting,
)
from survey.measured.dropouts.daylight import daylight_of
from survey.measured.dropouts.margins import margins_of
from survey.measured.dropouts.sorting import dropouts_of
from survey.output.answers.dropouts import dropouts_table

SEEDS = range(81_000, 81_006)
NUMBER = r"(-?[0-9.]+)"


class Case:
    """A log with its findings, and what can be counted in it."""

    def __init__(self, seed, *causes, **changes):
        self.made = make(dataclasses.replace(any_recipe(seed, causes), **changes))
        self.log = self.made.log()
        self.found = dropouts_of(self.made.scene, self.log)
        self.light = daylight_of(self.log)
        self.names = [self.made.scene.inverters.names[i] for i in self.log.inverter]

    def of(self, cause):
        return [one for one in self.found.findings if one.cause == cause]

    def rows(self, finding):
        return np.flatnonzero(np.isin(self.names, finding.inverters))

    def share(self, rows, times, *, mask=None):
        """Share of missed polls in percent, by daylight."""
        cells = (self.light.day if mask is None else mask)[rows][:, times]
        polls = np.where(cells, self.log.polls[rows][:, times], 0).sum()
        heard = np.where(cells, self.log.heard[rows][:, times], 0).sum()
        return 100.0 * (polls - heard) / max(polls, 1)

    def between(self, finding):
        return (self.log.time_s >= finding.first_s) & (self.log.time_s <= finding.last_s)


def cases(fault, cause, seeds=SEEDS, **changes):
    """Cases in which the cause was found, with the finding; some at least."""
    found = [(case, one) for seed in seeds for case in [Case(seed, fault, **changes)] for one in case.of(cause)]
    assert len(found) >= len(seeds) // 2
    return found


def figure(pattern, text):
    match = re.search(pattern.replace("#", NUMBER), text)
    assert match, (pattern, text)
    numbers = tuple(float(one) for one in match.groups())
    return numbers[0] if len(numbers) == 1 else numbers


@pytest.mark.parametrize("fault", ["something new in the way", "obstacle for days"])
def test_an_obstacles_shares_and_levels_are_those_of_the_log(fault):
    for case, one in cases(fault, OBSTACLE):
        inside, outside = figure(r"# % of polls missed from .* to .*?, # % at other times", one.evidence)
        rows, times = case.rows(one), case.between(one)
        assert case.share(rows, times) == pytest.approx(inside, abs=2.5)
        assert case.share(rows, ~times) == pytest.approx(outside, abs=1.5)
        stamps = re.search(r"missed from (\S+ \S+?)(?: \(within .*?\))? to (\S+ [0-9:]+)", one.evidence).groups()
        assert stamps == tuple(case.log.stamp(at).replace("T", " ") for at in (one.first_s, one.last_s))
        if "levels lower" in one.evidence:
            assert figure("levels lower by # dB", one.evidence) >= 1.0


def test_hours_of_a_rhythm_are_those_of_the_log():
    found = [(case, one) for case, one in cases("truck by hours", OBSTACLE) if "between" in one.evidence]
    assert len(found) >= 4
    for case, one in found:
        begin_h, begin_min, end_h, end_min = (
            int(part) for part in re.search(r"between (\d+):(\d+) and (\d+):(\d+)", one.evidence).groups()
        )
        more, days, of_days = figure("more than # % on # of # days?", one.evidence)
        inside, outside = figure(r"# % of polls missed between .*?, # % at other times", one.evidence)
        clock = case.log.time_s % 86_400 // 60
        times = (clock >= 60 * begin_h + begin_min) & (clock < 60 * end_h + end_min)
        rows = case.rows(one)
        assert case.share(rows, times) == pytest.approx(inside, abs=2.5)
        assert case.share(rows, ~times) == pytest.approx(outside, abs=1.5)
        by_day = [case.share(rows, times & (case.light.number == day)) for day in np.unique(case.light.number[times])]
        if "more of" not in one.evidence:  # else it names more inverters than its first sentence
            assert sum(share > more for share in by_day) == pytest.approx(days, abs=2)
        assert days <= of_days


def test_a_direction_is_cited_only_where_it_is_rare():
    for fault in ("something new in the way", "obstacle for days", "obstacle not in plan", "truck by hours"):
        for _, one in cases(fault, OBSTACLE):
            for chance in re.findall(r"by accident: ([0-9.e-]+) %", one.evidence):
                assert float(chance) < 10.0


@pytest.mark.parametrize(("fault", "cause"), [("supply branch", BRANCH), ("gateway or network", GATEWAY)])
def test_the_length_of_an_outage_is_true_within_a_poll_for_each(fault, cause):
    for case, one in cases(fault, cause, range(81_000, 81_010), jitter_s=0):
        rows, step_s = case.rows(one), case.made.recipe.step_s
        out = ~case.made.up[rows].any(axis=0) & case.made.lit[rows].any(axis=0)
        begins = int((np.diff(out.astype(int), prepend=0) == 1).sum())
        count, hours = figure("# outages?, # (?:h|min)", one.evidence)
        hours /= 60.0 if "min of daytime" in one.evidence else 1.0
        truth = out.sum() * step_s / 3600
        assert hours == pytest.approx(truth, abs=0.06 + begins * 2 * step_s / 3600), one.evidence
        assert count >= 1


def test_others_meanwhile_are_those_of_the_log():
    for case, one in cases("supply branch", BRANCH):
        answered = figure("the others answered # %", one.evidence)
        rows = np.setdiff1d(np.arange(len(case.names)), case.rows(one))
        out = (case.log.heard[case.rows(one)] == 0).all(axis=0) & case.between(one)
        assert 100.0 - case.share(rows, out) == pytest.approx(answered, abs=6.0)


@pytest.mark.parametrize("fault", ["branch off to the end", "branch off to the end, named"])
def test_a_branch_that_never_came_back_is_not_said_to_have(fault):
    for _, one in cases(fault, BRANCH):
        assert one.to_end
        assert one.evidence.endswith("it was still so when the log ended")
        assert "return" not in one.evidence


def test_the_shares_of_weak_links_and_their_margins_are_those_of_the_log():
    for case, one in cases("weak link", WEAK):
        rows = case.rows(one)
        margins = margins_of(case.made.scene, case.log)
        low = figure(r"margin # ", one.evidence)
        assert low == pytest.approx(margins.margin_db[rows].min(), abs=0.06)
        shares = [case.share([row], slice(None)) for row in rows]
        told = [
            float(one) for one in re.search(r"; ([0-9.]+)(?: to ([0-9.]+))? % of polls", one.evidence).groups() if one
        ]
        assert told[0] == pytest.approx(min(shares), abs=2.0)
        assert told[-1] == pytest.approx(max(shares), abs=2.0)


def test_a_link_of_much_margin_is_never_called_weak():
    links = 0
    for seed in SEEDS:
        for fault in ("weak link", "single unit", "obstacle not in plan"):
            case = Case(seed, fault)
            margins = margins_of(case.made.scene, case.log)
            for one in case.of(WEAK):
                links += len(case.rows(one))
                assert margins.margin_db[case.rows(one)].max() <= 20.0
    assert links > len(SEEDS)


def test_a_plan_that_is_very_uncertain_makes_no_weak_link_of_much_margin(monkeypatch):
    """Half the polls of a link of 26 dB are missed, and the plan may be wrong by 40 dB: unknown or faulty, not weak."""
    for margin_db, is_weak in ((26.0, False), (2.0, True)):
        made = Case(SEEDS[0], with_level=False).made
        made.heard[3, ::2] = False
        margins = margins_of(made.scene, made.log())
        doubtful = dataclasses.replace(
            margins,
            margin_db=np.where(np.arange(len(margins.margin_db)) == 3, margin_db, margins.margin_db),
            sigma_db=np.full(len(margins.margin_db), 9.0),
        )
        monkeypatch.setattr(sorting, "margins_of", lambda _scene, _log, found=doubtful: found)
        found = sorting.dropouts_of(made.scene, made.log())
        weak = {name for one in found.findings if one.cause == WEAK for name in one.inverters}
        assert (made.scene.inverters.names[3] in weak) == is_weak


def test_the_outages_of_a_unit_are_those_of_the_log():
    for case, one in cases("single unit", UNIT):
        assert f"margin {margins_of(case.made.scene, case.log).margin_db[case.rows(one)[0]]:.1f} dB" in one.evidence
        if "of its own" in one.evidence and "of polls missed" not in one.evidence:
            hours = figure("own, # h of daytime", one.evidence)
            assert one.dropouts * case.log.step_s / 3600 == pytest.approx(hours, rel=0.05, abs=0.1)


def test_interference_names_the_share_in_its_hours():
    for case, one in cases("interference, short log", INTERFERENCE):
        inside = figure("# % of polls missed", one.evidence)
        rows = np.flatnonzero([name in one.inverters for name in case.names])
        peak = max(
            case.share(rows, (case.log.time_s % 86_400 // 3600 == hour) & case.light.day.any(axis=0))
            for hour in range(24)
        )
        assert inside <= peak + 15.0
        assert inside > case.share(rows, slice(None))


def test_a_moved_gateway_names_its_date_and_its_part_of_the_links():
    for case, one in cases("gateway moved", MOVED):
        part = figure("these are # % of the links", one.evidence)
        assert 30.0 <= part <= 100.0
        assert abs(one.first_s - case.made.changed_s) < 0.06 * case.made.recipe.days * 86_400
        assert one.to_end


def test_a_fading_link_names_its_slope_with_its_error():
    for case, one in cases("fading unit, levels", FADING):
        if "falling level" not in one.evidence:
            continue
        slope, error = figure(
            r"falling level: # dB a week against the other inverters \(standard error # dB\)", one.evidence
        )
        (row,) = case.rows(one)
        excess = case.made.level_dbm[row]  # as made, heard or not
        days = (case.made.seconds[row] - case.made.seconds[row, 0]) / 86_400
        truth = -7.0 * np.polyfit(days, excess, 1)[0]
        assert slope == pytest.approx(truth, rel=0.4)  # what is too weak is not heard, which hides part of the fall
        assert 0 < error < 0.3 * slope


def test_polls_without_a_row_are_spoken_of():
    for fault in ("rows cease", "answers only"):
        for case, one in cases(fault, UNIT):
            absent = figure("# polls have no row in the log", one.evidence)
            assert absent > 0.5 * one.dropouts
            assert case.found.absent_polls > 0
            text = " ".join(dropouts_table(case.found).split())
            assert "without a row in the log" in text
            assert any("row" in note for note in case.log.notes)


def test_an_obstacle_that_the_plan_lacks_is_named_so():
    for _, one in cases("obstacle not in plan", OBSTACLE):
        assert "the plan may lack something there" in one.evidence
        assert "not in the plan" in one.subject


def test_levels_are_called_lower_only_where_they_are():
    for fault in ("supply branch", "something new in the way", "gateway moved"):
        for seed in SEEDS:
            for one in Case(seed, fault, with_level=True).found.findings:
                assert "by -" not in one.evidence


def test_low_light_is_not_on_more_days_than_the_log_has():
    for seed in SEEDS:
        case = Case(seed)
        for one in case.of(LOW_LIGHT):
            assert figure("on # days?", one.evidence) <= case.made.recipe.days


def test_what_is_unknown_dates_from_its_first_missed_poll():
    for seed in SEEDS:
        case = Case(seed)
        for one in case.of(UNKNOWN):
            missed = np.flatnonzero((case.log.heard < case.log.polls).any(axis=0))
            assert one.first_s >= case.log.time_s[missed[0]]
            hour = one.first_s % 86_400
            lit = case.light.day.any(axis=0)
            assert lit[case.log.time_s == one.first_s].any(), hour


def test_misses_of_weak_links_while_others_are_awake_are_not_low_light():
    for case, one in cases("weak link", WEAK):
        rows = case.rows(one)
        steady = np.setdiff1d(np.arange(len(case.names)), rows)
        low = case.light.low.mean(axis=1)
        assert low[rows].mean() < low[steady].mean() + 0.06


@pytest.mark.parametrize("fault", ["single unit", "rows cease", "supply branch", "weak link", "fading unit", ""])
def test_no_inverter_is_called_sound_that_a_finding_strikes(fault):
    for seed in SEEDS:
        case = Case(seed, *([fault] if fault else []))
        text = dropouts_table(case.found)
        struck = {name for one in case.found.findings if one.cause not in NO_FAULTS for name in one.inverters}
        line = re.search(r"No fault: (?:the other )?(\d+) inverters?, (?:(\S+ %) to )?(\S+) % of polls missed", text)
        if line:
            assert int(line[1]) <= len(case.found.inverters) - len(struck)
            top = max(
                (case.found.missed_by[k] / max(case.found.polls_by[k], 1))
                for k, name in enumerate(case.found.inverters)
                if name not in struck
            )
            assert float(line[3].strip("<")) <= 100 * top + 1


@pytest.mark.parametrize("fault", ["obstacle for days", "truck by hours"])
def test_a_group_is_one_finding(fault):
    for seed in SEEDS:
        found = [one for one in Case(seed, fault).found.findings if one.cause not in NO_FAULTS]
        assert len(found) <= 2
