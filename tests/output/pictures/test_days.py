"""The picture of a log's days: a mark for each missed poll, in the panel of its day, by cause."""

import dataclasses

import numpy as np
from dropout_logs import any_recipe, make

from survey.measured.dropouts import CAUSES, OBSTACLE
from survey.measured.dropouts.sorting import dropouts_of
from survey.output.pictures import days_picture


def drawn(seed, fault, **changes):
    recipe = dataclasses.replace(any_recipe(seed, (fault,)), **changes)
    made = make(recipe)
    found = dropouts_of(made.scene, made.log())
    return found, days_picture(found)


def marks(figure):
    """How many marks of each cause are in all panels."""
    counts = dict.fromkeys(CAUSES, 0)
    for axes in figure.axes:
        for line in axes.lines:
            if line.get_gid() in counts:
                counts[line.get_gid()] += len(line.get_xdata())
    return counts


def test_every_missed_poll_is_drawn_once_by_its_cause():
    found, figure = drawn(1, "supply branch", days=7, inverters=12, step_s=900)
    assert len(figure.axes) in {7, 8}
    counts = marks(figure)
    assert counts == {cause: int((found.marks == k + 1).sum()) for k, cause in enumerate(CAUSES)}
    missed = np.where(found.log.heard < found.log.polls, 1, 0)[found.marks > 0].sum()
    assert sum(counts.values()) == missed
    assert counts["supply branch"] > 10


def test_a_rhythm_is_drawn_in_its_hours():
    found, figure = drawn(2, "truck by hours", days=10, inverters=24, with_branch=False, clock_back=False)
    hours = np.concatenate(
        [line.get_xdata() for axes in figure.axes for line in axes.lines if line.get_gid() == OBSTACLE]
    )
    assert len(hours) > 20
    assert np.percentile(hours, 95) - np.percentile(hours, 5) < 8
    assert found.findings


def test_a_long_log_has_a_strip_for_each_week():
    _, figure = drawn(3, "single unit", days=30, inverters=12, step_s=900)
    assert len(figure.axes) == 5
    assert {axes.get_xlim() for axes in figure.axes} == {(0.0, 168.0)}


def test_the_foot_says_that_causes_are_likely_and_the_head_names_whole_minutes():
    found, figure = drawn(1, "supply branch", days=3, inverters=8, step_s=900)
    texts = {one.get_gid(): one.get_text() for one in figure.texts}
    assert texts["caution"] == "These are likely causes, not certain ones."
    odd = dataclasses.replace(found, log=dataclasses.replace(found.log, step_s=898))
    texts = {one.get_gid(): " ".join(one.get_text().split()) for one in days_picture(odd).texts}
    assert "a poll about every 15 min" in texts["subtitle"]
