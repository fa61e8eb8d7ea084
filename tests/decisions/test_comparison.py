"""What changed between two plans, and by what: cases whose cause is known since it was put there."""

import dataclasses

import numpy as np
import pytest
from yards import box, yard

from survey.decisions.comparison import Change, compare_plans
from survey.inputs.plan import Environment, OwnMaterial, Wall
from survey.scene import scene_of

LONG = {"along": ((5.0, -9_000.0), (5.0, 9_000.0)), "height_m": 9_000.0}
"""A wall between the inverters and the spot that nothing gets around."""


def between(before, after, names=("s0",), **options):
    return compare_plans(scene_of(before), scene_of(after), names, **({"draws": 50, "seed": 0} | options))


def causes(found, j=0):
    return [found.changes[k].name if k >= 0 else None for k in found.cause[:, j].tolist()]


def test_a_container_that_came_is_named_for_the_links_that_it_shades_and_not_for_others():
    plan = yard([(0.0, 0.0), (0.0, 30.0)], [(20.0, 0.0)])
    came = dataclasses.replace(plan, obstacles=(box("container", (10.0, 0.0)), box("tank", (300.0, 300.0))))
    found = between(plan, came)
    assert found.changes == (
        Change(name="container", kind="box", how="new"),
        Change(name="tank", kind="box", how="new"),
    )
    assert causes(found)[0] == "container"
    assert found.difference_db[0, 0] < -5.0
    assert found.cause_db[0, 0] == pytest.approx(found.difference_db[0, 0])
    assert found.changed[0, 0]
    gone = between(came, plan)
    assert gone.changes[0] == Change(name="container", kind="box", how="gone")
    assert gone.difference_db == pytest.approx(-found.difference_db)
    assert causes(gone)[0] == "container"


def test_an_obstacle_that_changed_counts_by_what_changed_of_it():
    walls = [Wall(name="wall", loss_db=loss_db, **LONG) for loss_db in (12.0, 20.0)]
    one, other = (yard([(0.0, 0.0)], [(20.0, 0.0)], obstacles=(wall,)) for wall in walls)
    found = between(one, other)
    assert found.changes == (Change(name="wall", kind="wall", how="changed"),)
    assert found.difference_db[0, 0] == pytest.approx(-8.0, abs=0.01)
    assert found.cause_db[0, 0] == pytest.approx(-8.0, abs=0.01)


def test_the_larger_of_two_is_named():
    plan = yard([(0.0, 0.0)], [(20.0, 0.0)])
    walls = tuple(
        Wall(name=name, loss_db=loss_db, along=((x, -9_000.0), (x, 9_000.0)), height_m=9_000.0)
        for name, loss_db, x in (("thin", 4.0, 5.0), ("thick", 9.0, 10.0))
    )
    found = between(plan, dataclasses.replace(plan, obstacles=walls))
    assert causes(found) == ["thick"]
    assert found.difference_db[0, 0] == pytest.approx(-13.0, abs=1e-6)
    assert found.cause_db[0, 0] == pytest.approx(-9.0, abs=1e-6)


def test_where_two_hide_the_same_link_either_is_tried_alone_in_the_first_plan_too():
    """Two containers one behind the other: taken away alone, either brings back only a part of what both cost."""
    plan = yard([(0.0, 0.0)], [(20.0, 0.0)])
    both = dataclasses.replace(plan, obstacles=(box("one", (9.0, 0.0)), box("other", (11.6, 0.0))))
    found = between(plan, both)
    alone = [between(plan, dataclasses.replace(plan, obstacles=(one,))).difference_db[0, 0] for one in both.obstacles]
    assert found.cause_db[0, 0] <= found.difference_db[0, 0] / 2.0
    assert found.cause_db[0, 0] == pytest.approx(min(alone))


def test_a_material_whose_loss_was_written_otherwise_is_named():
    walls = (Wall(name="wall", material="sheet", **LONG),)
    one, other = (
        yard(
            [(0.0, 0.0)],
            [(20.0, 0.0)],
            obstacles=walls,
            own_materials=(OwnMaterial(name="sheet", loss_db=loss_db),),
        )
        for loss_db in (20.0, 26.0)
    )
    found = between(one, other)
    assert found.changes == (Change(name="sheet", kind="material", how="changed"),)
    assert found.cause_db[0, 0] == pytest.approx(-6.0, abs=0.01)


def test_a_new_obstacle_of_a_material_that_the_first_plan_does_not_know_can_be_put_into_it():
    plan = yard([(0.0, 0.0)], [(20.0, 0.0)])
    sheets = tuple(
        Wall(name=f"w{x}", material="sheet", along=((x, -9_000.0), (x, 9_000.0)), height_m=9_000.0)
        for x in (5.0, 8.0, 11.0)
    )
    after = dataclasses.replace(plan, obstacles=sheets, own_materials=(OwnMaterial(name="sheet", loss_db=9.0),))
    for one, other, sign in ((plan, after, -1.0), (after, plan, 1.0)):
        found = between(one, other)
        assert len(found.changes) == 3
        assert found.difference_db[0, 0] == pytest.approx(27.0 * sign, abs=1e-6)
        assert found.cause_db[0, 0] == pytest.approx(9.0 * sign, abs=1e-6)


def test_what_is_no_obstacle_is_told_as_the_rest():
    plan = yard([(0.0, 0.0)], [(20.0, 0.0)])
    steeper = dataclasses.replace(plan, environment=Environment(path_loss_exponent=3.0))
    found = between(plan, steeper)
    assert found.changes == (Change(name="", kind="rest", how="changed"),)
    assert found.difference_db[0, 0] == pytest.approx(-10.0 * np.log10(20.0))
    moved = yard([(0.0, 0.0)], [(40.0, 0.0)])
    assert between(plan, moved).difference_db[0, 0] == pytest.approx(-20.0 * np.log10(2.0))
    assert between(plan, moved).changes == found.changes


def test_inverters_may_stand_in_another_order():
    plan = yard([(0.0, 0.0), (0.0, 30.0)], [(20.0, 0.0)])
    turned = dataclasses.replace(plan, inverters=plan.inverters[::-1])
    found = between(plan, turned)
    assert found.after.inverters.names == ("i0", "i1")
    assert not found.changed.any()
    assert (found.changes, found.cause.tolist()) == ((), [[-1], [-1]])


def test_the_same_seed_draws_the_same_for_both_plans():
    plan = yard([(float(x), 0.0) for x in range(8)], [(20.0, 0.0)], sensitivity_dbm=-55.0)
    walls = (Wall(name="wall", loss_db=3.0, **{**LONG, "along": ((15.0, -9_000.0), (15.0, 9_000.0))}),)
    found = between(plan, dataclasses.replace(plan, obstacles=walls), draws=400)
    assert np.all(found.after_drawn.counts <= found.before_drawn.counts), "a wall never helps, in any draw"
    assert found.after_drawn.counts.sum() < found.before_drawn.counts.sum()


def test_progress_is_told_to_its_end():
    told = []
    plan = yard([(0.0, 0.0)], [(20.0, 0.0)])
    after = dataclasses.replace(plan, obstacles=(box("a", (10.0, 0.0)), box("b", (10.0, 9.0))))
    between(plan, after, progress=lambda done, total: told.append((done, total)))
    assert told == [(1, 2), (2, 2)]
