"""Small invented yards for tests: whoever stands where, and walls so long that nothing gets around them."""

from pathlib import Path

from survey.budget import links_between
from survey.inputs.plan import (
    Box,
    Environment,
    Inverter,
    OwnMaterial,
    Plan,
    Radio,
    RadioEnd,
    Requirement,
    Site,
    Spot,
    Wall,
)
from survey.scene import scene_of


def yard(inverters, spots, *, sensitivity_dbm=-75.0, environment=None, **changes):
    """A plan with inverters and spots at points in plan, all 2 m high; each end of the radio alike.

    Its exponent is certain unless a test says otherwise: so what else is drawn can be checked alone.
    """
    end = RadioEnd(tx_power_dbm=8.0, sensitivity_dbm=sensitivity_dbm)
    values = {
        "file": "yard.toml",
        "folder": Path(),
        "site": Site(name="yard"),
        "radio": Radio(frequency_mhz=868.0, inverter=end, gateway=end),
        "environment": Environment(**({"exponent_spread": 0.0} | (environment or {}))),
        "requirement": Requirement(),
        "inverters": tuple(Inverter(name=f"i{k}", at=at, height_m=2.0) for k, at in enumerate(inverters)),
        "spots": tuple(Spot(name=f"s{k}", at=at, height_m=2.0) for k, at in enumerate(spots)),
    }
    return Plan(**(values | changes))


def long_wall(name, x_m, **loss):
    """A wall across the yard that nothing gets around, of a loss that makes it no screen or a screen alike."""
    return Wall(name=name, along=((x_m, -9_000.0), (x_m, 9_000.0)), height_m=9_000.0, **loss)


def box(name, centre):
    """A container of steel."""
    return Box(name=name, material="welded steel", centre=centre, length_m=6.0, width_m=2.4, height_m=2.6)


def material(loss_db, spread_db, name="shed sheet"):
    return OwnMaterial(name=name, loss_db=loss_db, spread_db=spread_db)


def links_in(plan):
    scene = scene_of(plan)
    return links_between(scene, scene.inverters, scene.spots)
