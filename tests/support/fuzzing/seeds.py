"""Sound files from which cases are made: small plans in old words and new, and every other file that is read."""

import io
import json
import tomllib
from functools import cache

from plans import ALSO_ALLOWED, MINIMAL, SPOTS, WHOLE_PLAN, array, entry, wall

HALL = """
[site]
name = "invented hall"
drawn_within_m = 0.2
joint_m = 0.05

[radio]
frequency_mhz = 868.0
inverter = { tx_power_dbm = 8.0, sensitivity_dbm = -96.0, mounting_loss_db = 8.0 }
gateway = { tx_power_dbm = 10.0, antenna_gain_dbi = 2.0, sensitivity_dbm = -98.0 }

[requirement]
max_relays = 1
gateways = 2

[[building]]
name = "hall"
corners = [[0.0, 0.0], [12.0, 0.0], [12.0, 8.0], [0.0, 8.0]]
eaves_m = 3.0
roof = "gable"
ridge_m = 4.5
wall_material = "steel cladding"
roof_material = "steel cladding"
level = [{ name = "ceiling", height_m = 2.5, material = "plasterboard 12.5 mm" }]
inner_wall = [{ name = "office wall", parallel_to = "west wall", in_m = 4.0, material = "brick 110 mm" }]
opening = [
    { on = "south wall", name = "gate", left_m = 2.0, width_m = 4.0, height_m = 2.5 },
    { on = "south roof", name = "light", width_m = 1, height_m = 1, material = "glass 6 mm", count = 2, every_m = 4.0 },
]

[[building]]
name = "lean-to"
against = "hall/north wall"
left_m = 1.0
length_m = 5.0
depth_m = 3.0
roof = "mono-pitch"
eaves_m = 2.2
ridge_m = 2.6
wall_material = "open"
roof_material = "tile roof"

[[box]]
name = "store"
beside = "hall/east wall"
size = "20 ft"
gap_m = 0.5
material = "welded steel"

[[foliage]]
name = "hedge"
along = [[-3.0, -4.0], [14.0, -4.0]]
width_m = 1.0
height_m = 2.0
base_m = 0.0

[[array]]
name = "S"
on = "hall/south roof"
rows = 1
per_row = 3
spacing_m = 2.3
row_spacing_m = 1.8
module_depth_m = 1.7

[[inverter]]
name = "U1"
on = "hall/west wall"
left_m = 2.0
up_m = 1.5

[[gateway]]
name = "office"
inside = "hall"
at = [2.0, 4.0]
height_m = 1.8

[[spot]]
name = "gate post"
at = [4.0, -6.0]
height_m = 2.0

[[spot]]
name = "bracket"
on = "hall/east wall"
left_m = 3.0
up_m = 2.0

[[search]]
name = "north side"
on = "hall/north wall"
ups_m = [2.0]
step_m = 4.0
"""

DRAWN = """
[site]
name = "invented yard"
zero_lat_deg = 48.5
zero_lon_deg = -30.25
plan_north_deg = 12.0

[radio]
frequency_mhz = 2440.0
inverter = { tx_power_dbm = 8.0, sensitivity_dbm = -94.0 }
gateway = { tx_power_dbm = 10.0, sensitivity_dbm = -96.0, antenna = "whip.csv" }

[[drawing]]
name = "map"
file = "map.geojson"

[[drawing]]
name = "plan"
file = "site.dxf"
zero = [1000.0, 2000.0]
unit = "mm"

[[building]]
name = "hall"
from = "map/roof"
eaves_m = 3.0
roof = "flat"
wall_material = "brick 220 mm"

[[wall]]
name = "fence"
from = "plan/FENCE"
height_m = 2.0
material = "steel cladding"

[[foliage]]
name = "trees"
from = "map/trees"
height_m = 8.0

[[inverter]]
from = "list.csv"

[[spot]]
name = "pole"
at = [3.0, -5.0]
height_m = 2.0

[[gateway]]
name = "office"
at = [-4.0, 2.0]
height_m = 2.0

[[ground]]
points = [[-50.0, -50.0, 0.0], [50.0, -50.0, 1.0], [50.0, 50.0, 2.0], [-50.0, 50.0, 0.5]]
"""

MIXED = (
    MINIMAL
    + SPOTS
    + wall(loss_db=25, along="[[5, -3], [5, 3], [9, 3]]", height_m=3)
    + array(per_row=2, serials='["S-1", "S-2"]', branch='"B1"')
    + entry("box", name='"bin"', material='"welded steel"', centre="[15, 0]", length_m=2, width_m=2, height_m=2.5)
)


@cache
def plans():
    """Plans as tables."""
    own = WHOLE_PLAN.replace("step_m = 1.0", "step_m = 10.0") + ALSO_ALLOWED
    texts = [MIXED, own, f"plan_version = 1\n{HALL}", f"plan_version = 1\n{DRAWN}", MINIMAL]
    return [tomllib.loads(text) for text in texts]


NAMES = [
    (["i1", "N-1-1", "N-1-2"], ["office", "post", "shed"]),
    (["N-1-1", "S1", "own inverter", "own array-1-1"], ["office", "switchboard", "own spot", "own gateway"]),
    (["S-1-1", "S-1-3", "U1"], ["office", "gate post", "bracket"]),
    (["P1", "P2"], ["office", "pole"]),
    (["i1"], ["office", "office"]),
]
"""Of each plan: some of its inverters, and its places for a gateway."""


def log(which):
    """Return rows of a log of a plan."""
    inverters, places = NAMES[which]
    return [["time", "inverter", "gateway", "heard", "level_dbm", "power_w", "branch"]] + [
        [
            f"2024-06-0{day}T{hour:02d}:{minute}:00Z",
            name,
            places[0],
            str(int((hour + day) % 7 != 0)),
            "-80",
            "120",
            "B1",
        ]
        for day in (1, 2)
        for hour in range(8, 18)
        for minute in ("00", "30")
        for name in inverters
    ]


def readings(which):
    """Return rows of readings of a plan."""
    inverters, places = NAMES[which]
    return [["inverter", "gateway", "level_dbm", "tries", "note"]] + [
        [
            name,
            place,
            "missed" if (i + j) % 4 == 3 else f"{-60 - 5 * i - 3 * j}",
            ["1", "", "3"][(i + j) % 3],
            "by hand",
        ]
        for i, name in enumerate(inverters)
        for j, place in enumerate(dict.fromkeys(places))
    ]


PATTERN = [["elevation_deg", "gain_dbi"], ["-90", "-20"], ["-30", "0"], ["0", "2.1"], ["45", "-3"], ["90", "-20"]]
LIST = [
    ["name", "x_m", "y_m", "height_m", "serial", "branch"],
    ["P1", "2,0", "3,0", "3,1", "s-1", "B1"],
    ["P2", "8", "3", "3.1", "s-2", ""],
]
MAP = json.loads(
    """{"type": "FeatureCollection", "features": [
    {"type": "Feature", "properties": {"name": "roof"}, "geometry": {"type": "Polygon", "coordinates":
     [[[-30.25, 48.5], [-30.2498, 48.5], [-30.2498, 48.5001], [-30.25, 48.5001], [-30.25, 48.5]]]}},
    {"type": "Feature", "properties": {"name": "trees"}, "geometry": {"type": "Polygon", "coordinates":
     [[[-30.2501, 48.4999], [-30.25, 48.4999], [-30.25, 48.49995], [-30.2501, 48.4999]]]}},
    {"type": "Feature", "properties": {"name": "pole"}, "geometry":
     {"type": "Point", "coordinates": [-30.2501, 48.5]}}]}"""
)


@cache
def dxf():
    """Return a drawing with an outline, a line and a point, as text."""
    import ezdxf

    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    for layer in ("HUT", "FENCE", "POLES"):
        document.layers.add(layer)
    space.add_lwpolyline(
        [(1000, 2000), (4000, 2000), (4000, 4000), (1000, 4000)], close=True, dxfattribs={"layer": "HUT"}
    )
    space.add_line((0, 0), (9000, 0), dxfattribs={"layer": "FENCE"})
    space.add_point((5000, 5000), dxfattribs={"layer": "POLES"})
    text = io.StringIO()
    document.write(text)
    return text.getvalue()
