"""A small invented plan as text, for tests that damage it, add to it or run the program on it."""

from pathlib import Path

MINIMAL = """\
plan_version = 1

[site]
name = "invented yard"

[radio]
frequency_mhz = 868.0

[radio.inverter]
tx_power_dbm = 8.0
sensitivity_dbm = -96.0

[radio.gateway]
tx_power_dbm = 10.0
sensitivity_dbm = -98.0

[[inverter]]
name = "i1"
at = [10.0, 0.0]
height_m = 2.0

[[gateway]]
name = "office"
at = [0.0, 0.0]
height_m = 2.0
"""

WALL = """
[[wall]]
name = "long wall"
loss_db = 20.0
along = [[5.0, -9000.0], [5.0, 9000.0]]
height_m = 9000.0
"""
"""A wall so long and so high that hardly anything gets around it: what it costs is its loss, whatever the model."""

SPOTS = """
[[spot]]
name = "post"
at = [20.0, 0.0]
height_m = 2.0

[[spot]]
name = "shed"
at = [10.0, 100.0]
height_m = 2.0
"""


# The plan by which the interface of this program shows every table, word for word.
WHOLE_PLAN = """
plan_version = 1

[site]
name = "Saltbush Lane workshop"
note = "free text, optional"

[radio]
frequency_mhz = 2440.0
polarisation = "unknown"     # or "vertical", "horizontal"; unknown = power mean of both (default)

[radio.inverter]
tx_power_dbm = 8.0
antenna_gain_dbi = 0.0
sensitivity_dbm = -94.0
mounting_loss_db = 6.0       # what fitting it under a module costs, either direction (default 0)

[radio.gateway]
tx_power_dbm = 10.0
antenna_gain_dbi = 2.0
sensitivity_dbm = -96.0
antenna = "isotropic"        # or "dipole" (vertical half-wave; gain follows elevation), or a CSV file of gain

[environment]
path_loss_exponent = 2.0     # beyond what the obstacles below explain
reference_distance_m = 1.0
shadowing_db = 6.0           # standard deviation of what the plan does not show
correlation_m = 5.0          # over this distance it falls to 1/e between neighbouring links

[requirement]
reliability = 0.95           # wanted chance that a link works
fade_margin_db = 3.0         # held back for what changes with time
max_relays = 0               # 0 = every inverter talks to the gateway itself; n = up to n inverters in between
inverters_per_gateway = 0    # 0 = no limit
gateways = 1                 # how many gateways may be used, at most

[[material]]                 # the user's own; built-in ones are listed by `survey materials`
name = "old shed cladding"
loss_db = 30.0               # one pass through a sheet of it
spread_db = 6.0              # standard deviation of that figure, default 0
source = "measured on site"
# instead of loss_db: slab = "concrete" (a material of ITU-R P.2040) and thickness_m = 0.2

[[array]]                    # a block of rows; its inverters are named NAME-row-column, from 1
name = "N"
first = [2.0, 14.0]          # x, y of the inverter at row 1, column 1
height_m = 3.2               # its height
bearing_deg = 90.0           # the way a row runs
rows = 2
per_row = 8
spacing_m = 2.3              # between inverters along a row
row_spacing_m = 1.8          # between rows, measured up the slope
tilt_deg = 15.0              # the slope rises to the left of the bearing (facing along it); rows step that way
module_depth_m = 1.76        # optional: each row is then also a sheet of `pv module`, this deep up the slope
clearance_m = 0.1            #   and this far above its inverters, as long as the row plus half a spacing at each end

[[inverter]]                 # or one by one
name = "S1"
at = [6.0, 2.0]
height_m = 2.5
serial = "optional, any text"

[[wall]]                     # a vertical sheet along a line of two or more points
name = "shed south wall"
material = "steel cladding"
along = [[0.0, 10.0], [20.0, 10.0]]
height_m = 3.0
base_m = 0.0                 # default 0

[[box]]                      # a closed hollow box: container, tank, cabinet, small building
name = "container 1"
material = "welded steel"
centre = [8.0, 6.0]
length_m = 6.06              # along the bearing
width_m = 2.44
height_m = 2.59
bearing_deg = 90.0
base_m = 0.0

[[roof]]                     # a flat piece of roof or any other plane sheet: 3 to 8 corners in one plane, in order
name = "shed roof"
material = "steel cladding"
corners = [[0.0, 10.0, 3.0], [20.0, 10.0, 3.0], [20.0, 18.0, 5.1], [0.0, 18.0, 5.1]]

[[foliage]]                  # loss by the metre of path inside
name = "hedge"
footprint = [[0, 0], [10, 0], [10, 1], [0, 1]]
height_m = 2.0
base_m = 0.0
loss_db_per_m = 0.5

[[gateway]]                  # one that stands there today
name = "office"
at = [21.0, 4.0]
height_m = 1.8

[[spot]]                     # a place where one could go
name = "switchboard"
at = [12.0, 9.5]
height_m = 2.0
cable_loss_db = 0.0          # an extension to the antenna, default 0
note = "socket and network there"

[[search]]                   # many places: points every step_m along a line, or inside a polygon
name = "south fence"
along = [[0.0, 0.0], [20.0, 0.0]]        # or: within = [[x, y], ...]
heights_m = [1.5, 3.0]
step_m = 1.0
"""

# What the same interface allows in words.
OWN_RADIO = """\
tx_power_dbm = 5.0
antenna_gain_dbi = 1.0
sensitivity_dbm = -90.0
mounting_loss_db = 2.0
cable_loss_db = 1.0
noise_rise_db = 4.0
antenna = "dipole"
"""
ALSO_ALLOWED = f"""
[[material]]
name = "cellar wall"
slab = "concrete"
thickness_m = 0.2
spread_db = 2.0

[[array]]
name = "own array"
first = [0.0, -5.0]
height_m = 3.0
per_row = 1
{OWN_RADIO}
[[inverter]]
name = "own inverter"
at = [1.0, -8.0]
height_m = 3.0
{OWN_RADIO}
[[gateway]]
name = "own gateway"
at = [2.0, -9.0]
height_m = 3.0
note = "beside the door"
{OWN_RADIO}
[[spot]]
name = "own spot"
at = [3.0, -9.0]
height_m = 3.0
{OWN_RADIO}
[[wall]]
name = "own wall"
material = "Old Shed Cladding"
loss_db = 12.0
spread_db = 1.0
along = [[0.0, -4.0], [9.0, -4.0], [9.0, -2.0]]
height_m = 2.0

[[box]]
name = "own box"
loss_db = 15.0
centre = [30.0, 30.0]
length_m = 2.0
width_m = 1.0
height_m = 1.0

[[roof]]
name = "own roof"
material = "cellar wall"
spread_db = 5.0
corners = [[0.0, 20.0, 3.0], [4.0, 20.0, 3.0], [0.0, 24.0, 3.0]]

[[search]]
name = "yard"
within = [[40.0, 0.0], [44.0, 0.0], [44.0, 4.0], [40.0, 4.0]]
heights_m = [2.0]
step_m = 2.0
"""


def changed(*changes: tuple[str, str], more: str = "", text: str = MINIMAL) -> str:
    """The minimal plan with pieces replaced, each of which it holds exactly once, and more at its end."""
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in the plan"
        text = text.replace(old, new)
    return text + more


def write(folder: Path, *changes: tuple[str, str], more: str = "", name: str = "plan.toml") -> Path:
    """Write the minimal plan, changed, into a folder."""
    path = folder / name
    path.write_text(changed(*changes, more=more), encoding="utf-8")
    return path


def entry(table, **values):
    """One entry of a plan, its values as TOML."""
    return f"\n[[{table}]]\n" + "".join(f"{key} = {value}\n" for key, value in values.items())


def wall(**values):
    return entry("wall", **{"name": '"w"', "loss_db": 3, "along": "[[0, 0], [1, 0]]", "height_m": 2} | values)


def roof(corners, **values):
    return entry("roof", **{"name": '"r"', "loss_db": 3, "corners": corners} | values)


def foliage(footprint):
    return entry("foliage", name='"f"', footprint=footprint, height_m=2, loss_db_per_m=1)


def search(**values):
    return entry("search", **{"name": '"s"', "heights_m": "[1.5]"} | values)


def array(**values):
    return entry("array", **{"name": '"N"', "first": "[0, 0]", "height_m": 3, "per_row": 2, "spacing_m": 1} | values)


def spot(name):
    return entry("spot", name=f'"{name}"', at="[1, 2]", height_m=3)


def inverter_with(line):
    """The minimal plan with a line in place of its inverter's height."""
    return changed(("height_m = 2.0\n\n[[gateway]]", f"{line}\n\n[[gateway]]"))
