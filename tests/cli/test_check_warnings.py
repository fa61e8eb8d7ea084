"""What `survey check` warns of, and at just which point."""

import pytest
from plans import (
    MINIMAL,
    array,
    changed,
    entry,
    foliage,
    inverter_with,
    roof,
    search,
    wall,
    write,
)


def warnings(run, folder, *changes, more="", text=MINIMAL):
    """What `survey check` warns of, without the word that begins each line."""
    (folder / "plan.toml").write_text(changed(*changes, more=more, text=text), encoding="utf-8")
    result = run("check", "plan.toml")
    assert result.exit_code == 0, "a warning is no fault"
    lines = result.stderr.splitlines()
    assert all(line.startswith("warning: ") for line in lines)
    return [line.removeprefix("warning: ") for line in lines]


def box(**values):
    sides = {"centre": "[10, 0]", "length_m": 4, "width_m": 2, "height_m": 3, "bearing_deg": 90}
    return entry("box", name='"container"', material='"welded steel"', **sides | values)


def test_an_inverter_inside_a_container_is_told(run, folder):
    assert warnings(run, folder, more=box()) == ['inside the closed box "container": inverter i1']


def test_a_gateway_inside_a_container_is_told(run, folder):
    told = warnings(run, folder, more=box(centre="[0, 0]"))
    assert told == ['inside the closed box "container": gateway or spot office']


@pytest.mark.parametrize(
    ("where", "inside"),
    [
        ({"centre": "[11.99, 0]"}, True),  # its length runs east: from 9.99 m
        ({"centre": "[12.06, 0]"}, False),
        ({"centre": "[10, 0.99]"}, True),  # and it is 2 m wide
        ({"centre": "[10, 1.06]"}, False),
        ({"height_m": 2.01}, True),  # the inverter is 2 m high
        ({"height_m": 1.9}, False),
        ({"base_m": 1.99}, True),
        ({"base_m": 2.06}, False),
        ({"centre": "[10, 1.5]", "bearing_deg": 0}, True),
    ],
)
def test_where_a_container_ends_so_does_the_warning(run, folder, where, inside):
    assert any(line.startswith("inside") for line in warnings(run, folder, more=box(**where))) == inside


@pytest.mark.parametrize(("height_m", "told"), [(0.0, []), (-0.01, ["below ground (height under 0): inverter i1"])])
def test_an_inverter_below_ground_is_told(run, folder, height_m, told):
    assert warnings(run, folder, text=inverter_with(f"height_m = {height_m}")) == told


@pytest.mark.parametrize(
    ("east_m", "told"),
    [(1010.0, []), (1010.01, ["more than 1000 m from the middle of the inverters: gateway or spot far post"])],
)
def test_a_spot_farther_than_a_kilometre_is_told(run, folder, east_m, told):
    """The one inverter, at 10 m east, is the middle."""
    far = entry("spot", name='"far post"', at=f"[{east_m}, 0]", height_m=2)
    assert warnings(run, folder, more=far) == told


def test_of_many_names_a_warning_gives_a_few_and_counts_the_rest(run, folder):
    row = array(first="[0, 5]", height_m=-1, per_row=8)
    assert warnings(run, folder, more=row) == [
        "below ground (height under 0): inverters N-1-1, N-1-2, N-1-3, N-1-4, N-1-5 and 3 more"
    ]


NEVER = "lies on no direct line between an inverter and a gateway or spot. Check its position"


@pytest.mark.parametrize(
    ("obstacle", "name"),
    [
        (wall(along="[[5, 0.01], [5, 9]]"), "w"),  # beside the line, which runs along y = 0
        (wall(along="[[5, -9], [5, 9]]", height_m=1.99), "w"),  # below it, at 2 m
        (wall(along="[[5, -9], [5, 9]]", base_m=2.01), "w"),  # above it
        (box(centre="[5, 1.5]"), "container"),
        (roof("[[5, -1, 1.9], [6, -1, 1.9], [6, 1, 1.9]]"), "r"),
        (foliage("[[5, 0.01], [6, 0.01], [6, 2]]"), "f"),
    ],
)
def test_an_obstacle_that_no_line_meets_is_told(run, folder, obstacle, name):
    assert warnings(run, folder, more=obstacle) == [f"{name} {NEVER}"]


@pytest.mark.parametrize(
    "obstacle",
    [
        wall(along="[[5, -0.01], [5, 9]]", height_m=3),
        wall(along="[[5, -9], [5, 9]]", height_m=2.01),
        wall(along="[[5, -9], [5, 9]]", base_m=1.99),
        box(centre="[5, 0.9]"),
        roof("[[5, -1, 2.1], [6, -1, 1.9], [6, 1, 1.9], [5, 1, 2.1]]"),
        foliage("[[5, -1], [6, -1], [6, 2.2], [5, 2.2]]").replace("height_m = 2", "height_m = 2.1"),
    ],
)
def test_an_obstacle_that_a_line_meets_is_not(run, folder, obstacle):
    assert warnings(run, folder, more=obstacle) == []


def test_without_any_place_for_a_gateway_there_is_no_link_to_look_at(run, folder):
    text = MINIMAL[: MINIMAL.index("[[gateway]]")]
    assert warnings(run, folder, text=text) == [
        "no [[gateway]], [[spot]] or [[search]]: there is no link to work out yet"
    ]


# Usual limits of radiated power, e.i.r.p.: 20 dBm (ETSI EN 300 328, 2.4 GHz, wide band); 36 dBm (47 CFR 15.247(b): 1 W
# and an antenna of 6 dBi); 16.13 dBm (ETSI EN 300 220, 868.0 to 868.6 MHz: 25 mW e.r.p., and 2.15 dB more as e.i.r.p.).
ETSI_2G4, FCC, ETSI_868 = "ETSI EN 300 328", "FCC 47 CFR 15.247", "ETSI EN 300 220 (25 mW e.r.p.)"
EIRP = [
    (2440.0, 18.0, 2.0, []),
    (2440.0, 18.0, 2.01, [("20.01", "20", ETSI_2G4)]),
    (2440.0, 30.0, 6.0, [("36.00", "20", ETSI_2G4)]),
    (2440.0, 30.0, 6.01, [("36.01", "20", ETSI_2G4), ("36.01", "36", FCC)]),
    (2399.9, 30.0, 6.01, []),
    (915.0, 30.0, 6.0, []),
    (915.0, 30.0, 6.01, [("36.01", "36", FCC)]),
    (868.3, 13.98, 2.15, []),
    (868.3, 14.0, 2.14, [("16.14", "16.13", ETSI_868)]),
    (868.3, 16.2, -0.1, []),
]


@pytest.mark.parametrize("end", ["inverter", "gateway"])
@pytest.mark.parametrize("case", EIRP, ids=lambda case: f"{case[0]} MHz, {case[1]} dBm, {case[2]} dBi")
def test_what_is_radiated_above_the_usual_limit_is_cautioned(run, folder, end, case):
    frequency_mhz, power_dbm, gain_dbi, expected = case
    old = {"inverter": "tx_power_dbm = 8.0", "gateway": "tx_power_dbm = 10.0"}[end]
    own = (old, f"tx_power_dbm = {power_dbm}\nantenna_gain_dbi = {gain_dbi}")
    told = warnings(run, folder, ("868.0", str(frequency_mhz)), own)
    assert told == [
        f"[radio.{end}]: {eirp} dBm e.i.r.p. (power plus antenna gain) is above the {limit} dBm usual under {rule}; "
        "which limit holds is for the local radio rules to say: look it up"
        for eirp, limit, rule in expected
    ]


def test_a_radio_of_its_own_is_cautioned_by_name(run, folder):
    strong = entry("spot", name='"mast"', at="[3, 0]", height_m=2, antenna_gain_dbi=9)
    (told,) = warnings(run, folder, more=strong)
    assert told.startswith('"mast": 19.00 dBm e.i.r.p.')


def test_two_inverters_in_one_place_are_told(run, folder):
    twin = entry("inverter", name='"i2"', at="[10, 0]", height_m=2)
    assert warnings(run, folder, more=twin) == ["another inverter stands in the very same place as i1"]


@pytest.mark.parametrize(("off_m", "near"), [(0.0, False), (0.03, True), (0.06, False)])
def test_an_inverter_a_little_off_a_wall_is_told(run, folder, off_m, near):
    behind = wall(along=f"[[{10 - off_m}, -5], [{10 - off_m}, 5]]", height_m=3)
    told = [line for line in warnings(run, folder, more=behind) if "cm from" in line]
    text = (
        'from "w". The program cannot tell whether it is on or beside it. A device exactly on a sheet loses nothing '
        "through that sheet. For a bracket outside, give a position 10 cm or more in front"
    )
    assert told == ([f'"i1" is 3.0 cm {text}'] if near else [])


ADVICE = "take a reading, or give your own loss_db"


# Concrete and brick by ITU-R P.2040-3 from 1 GHz; steel cladding at 815 MHz alone: 20 % beside that is let pass.
@pytest.mark.parametrize(
    ("frequency_mhz", "materials", "told"),
    [
        (868.0, ["timber 20 mm", "steel cladding"], []),
        (1000.0, ["concrete 200 mm"], []),
        (999.0, ["concrete 200 mm"], ["concrete 200 mm: found from 1000 to 100000 MHz, used at 999 MHz"]),
        (978.0, ["steel cladding"], []),
        (978.1, ["steel cladding"], ["steel cladding: found at 815 MHz, used at 978.1 MHz"]),
        (679.2, ["steel cladding"], []),
        (679.1, ["steel cladding"], ["steel cladding: found at 815 MHz, used at 679.1 MHz"]),
        (6000.0, ["coated glass"], []),
        (6000.1, ["Coated Glass"], ["coated glass: found from 800 to 6000 MHz, used at 6000.1 MHz"]),
        (
            433.9,
            ["brick 110 mm", "steel cladding", "concrete 200 mm", "aluminium siding", "brick 110 mm", "welded steel"],
            [
                "aluminium siding, steel cladding: found at 815 MHz, used at 433.9 MHz",
                "brick 110 mm: found from 1000 to 40000 MHz, used at 433.9 MHz",
                "concrete 200 mm: found from 1000 to 100000 MHz, used at 433.9 MHz",
            ],
        ),
    ],
)
def test_figures_stretched_far_beyond_their_frequencies_are_told_together(run, folder, frequency_mhz, materials, told):
    walls = "".join(
        wall(name=f'"{k}"', along=f"[[{k + 1}, -5], [{k + 1}, 5]]", height_m=3, material=f'"{name}"')
        for k, name in enumerate(materials)
    ).replace("loss_db = 3\n", "")
    found = warnings(run, folder, ("868.0", str(frequency_mhz)), more=walls)
    assert found == [f"loss of {one}; {ADVICE}" for one in told]


def test_where_an_obstacle_has_a_figure_of_its_own_its_material_is_not_warned_of(run, folder):
    own = wall(material='"tile roof"', loss_db=5, along="[[5, -5], [5, 5]]", height_m=3)
    assert warnings(run, folder, more=own) == []


def test_an_own_material_in_place_of_a_built_in_one_is_told(run, folder):
    told = warnings(run, folder, more=entry("material", name='"Tile Roof"', loss_db=2))
    assert told == ['[[material]] "Tile Roof" takes the place of the built-in one of that name']


def test_warnings_do_not_stop_an_output_file(run, folder):
    write(folder, more=box())
    result = run("check", "plan.toml", "--out", "look.txt")
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr.splitlines() == [
        "written: look.txt",
        'warning: inside the closed box "container": inverter i1',
    ]
    assert (folder / "look.txt").read_text(encoding="utf-8").startswith("plan.toml: invented yard\n")


def test_the_points_of_a_search_are_counted_as_spots_and_warned_of(run, folder):
    told = warnings(run, folder, more=search(along="[[0, 5], [1, 5]]", heights_m="[-1]"))
    assert told == ["below ground (height under 0): gateways or spots s/0.00,5.00,-1.00, s/1.00,5.00,-1.00"]


def test_serials_of_an_array_are_read_row_by_row_and_doubled_ones_told(run, folder):
    more = array(name='"N"', rows=2, row_spacing_m=1, serials='["a1", "a2", "", "a1"]')
    write(folder, more=more)
    result = run("check", "plan.toml")
    assert 'one serial for several inverters: "a1" of N-1-1, N-2-2' in result.stderr
    rows = run("links", "plan.toml", "--csv").stdout.splitlines()
    assert [line.split(",")[1] for line in rows[1:5]] == ["a1", "a2", "", "a1"]


def test_serials_of_an_array_have_to_be_one_for_each_inverter(run, folder):
    write(folder, more=array(name='"N"', serials='["a1"]'))
    result = run("check", "plan.toml")
    assert (result.exit_code, result.stdout) == (1, "")
    assert '[[array]] 1 "N": serials: holds 1 for 2 inverters; write one each, row by row' in result.stderr
    write(folder, more=array(name='"N"', serials='["a1", 2]'))
    assert "serials: text 2: 2 is a number; write text in quotes" in run("check", "plan.toml").stderr


def test_a_serial_that_stands_twice_is_told(run, folder):
    both = "".join(
        entry("inverter", name=f'"{n}"', at=f"[{k}, 5]", height_m=3, serial='"S1"') for k, n in enumerate("ab")
    )
    write(folder, more=both)
    assert 'one serial for several inverters: "S1" of a, b' in run("check", "plan.toml").stderr
