"""One link with obstacles between its ends, and the exact references as plans."""

from pathlib import Path

from survey.budget import links_of
from survey.inputs.plan import (
    Box,
    Environment,
    Inverter,
    Plan,
    Radio,
    RadioEnd,
    Requirement,
    Roof,
    Site,
    Spot,
    Wall,
)
from survey.propagation import Way
from survey.scene import scene_of


def plan(
    *obstacles, frequency_mhz=868.0, ends=((-15.0, 0.0), (15.0, 0.0)), heights_m=(1.5, 1.5), polarisation="unknown"
):
    """An inverter and a gateway with obstacles between."""
    end = RadioEnd(tx_power_dbm=8.0, sensitivity_dbm=-94.0)
    return Plan(
        file="test",
        folder=Path(),
        site=Site(name="test"),
        radio=Radio(frequency_mhz=frequency_mhz, polarisation=polarisation, inverter=end, gateway=end),
        environment=Environment(),
        requirement=Requirement(),
        inverters=(Inverter(name="i", at=ends[0], height_m=heights_m[0]),),
        gateways=(Spot(name="g", at=ends[1], height_m=heights_m[1]),),
        obstacles=obstacles,
    )


def container(x=0.0, y=0.0, *, name="container", bearing_deg=0.0, **more):
    values = {"length_m": 6.06, "width_m": 2.44, "height_m": 2.59, "material": "welded steel"} | more
    return Box(name=name, centre=(x, y), bearing_deg=bearing_deg, **values)


def steel(*points, name="wall", height_m=3.0, **more):
    return Wall(name=name, material=more.pop("material", "welded steel"), along=points, height_m=height_m, **more)


def link(*obstacles, **more):
    return links_of(scene_of(plan(*obstacles, **more)))


def way_db(found, way):
    return float(found.around_db[Way[way.upper()], 0, 0])


def excess_db(found):
    return float(found.obstacle_loss_db[0, 0])


def in_plan(case):
    """A case of the references as a plan: obstacles 60 m tall, both ends at 30 m."""
    obstacles = []
    for number, one in enumerate(case["obstacles"]):
        if one["kind"] == "box":
            size = {key: one[key] for key in ("length_m", "width_m", "bearing_deg")}
            obstacles.append(container(*one["centre"], name=f"o{number}", height_m=60.0, **size))
        else:
            obstacles.append(steel(*map(tuple, one["along"]), name=f"o{number}", height_m=60.0))
    ends = tuple(map(tuple, case["ends"]))
    return plan(*obstacles, frequency_mhz=case["frequency_mhz"], ends=ends, heights_m=(30.0, 30.0))


def closed_building(loss_db):
    """12 by 8 m, walls 3 m high under a roof with its ridge along the middle; every joint closed."""
    sides = [((0, 0), (12, 0)), ((12, 0), (12, 8)), ((12, 8), (0, 8)), ((0, 8), (0, 0))]
    walls = [Wall(name=f"wall {k}", along=side, height_m=3.0, loss_db=loss_db) for k, side in enumerate(sides)]
    planes = {
        "south": ((0, 0, 3), (12, 0, 3), (12, 4, 4.5), (0, 4, 4.5)),
        "north": ((0, 8, 3), (12, 8, 3), (12, 4, 4.5), (0, 4, 4.5)),
        "west": ((0, 0, 3), (0, 8, 3), (0, 4, 4.5)),
        "east": ((12, 0, 3), (12, 8, 3), (12, 4, 4.5)),
    }
    return [*walls, *(Roof(name=name, corners=plane, loss_db=loss_db) for name, plane in planes.items())]
