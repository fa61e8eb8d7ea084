"""The sheet for a day of readings: what it expects, what it leaves to fill in, and that a fit reads it back."""

import csv
import json
import re
from html import unescape
from statistics import NormalDist

import pytest
from plans import MINIMAL, SPOTS, changed, write

import survey

SERIAL = ('name = "i1"\nat', 'name = "i1"\nserial = "A&B <7>"\nat')
FAR = """
[environment]
path_loss_exponent = 3.0

[[inverter]]
name = "far"
at = [4000.0, 0.0]
height_m = 2.0
"""


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def cells_of(html):
    body = html[html.index("<tbody>") :]
    return [
        [unescape(re.sub(r"<[^>]+>", "", cell)) for cell in re.findall(r"<td[^>]*>(.*?)</td>", row)]
        for row in re.findall(r"<tr.*?</tr>", body, flags=re.DOTALL)
    ]


def test_the_sheet_has_every_inverter_with_serial_expected_level_and_span(run, folder):
    write(folder, SERIAL, more=SPOTS + FAR)
    assert run("report", "plan.toml", "--form", "--gateway", "post", "--out", "day.html").exit_code == 0
    html = (folder / "day.html").read_text(encoding="utf-8")
    (near, far) = cells_of(html)
    link = json.loads(run("links", "plan.toml", "--gateway", "post", "--json").stdout)["links"][0]
    level_dbm, away_db = link["uplink"]["level_dbm"], NormalDist().inv_cdf(0.95) * link["sigma_db"]
    span = f"{level_dbm - away_db:.0f} to {level_dbm + away_db:.0f}"
    assert near == ["", "i1 (first)", "A&B <7>", f"{level_dbm:.0f}", span, "", ""]
    assert far[3:5] == ["no answer", "no answer"]  # 4 km: below what the gateway hears, and 9.9 dB more is too
    for words in ("Date", "Name", "Only a licensed electrician", "survey fit plan.toml", "(post)", "size: A4"):
        assert words in html
    assert "<script" not in html


def test_the_same_as_csv_by_option_by_ending_and_from_python(run, folder):
    write(folder, SERIAL, more=SPOTS)
    assert run("report", "plan.toml", "--form", "--gateway", "post", "--out", "day.csv").exit_code == 0
    printed = run("report", "plan.toml", "--form", "--gateway", "post", "--csv", "--out", "-")
    assert printed.stdout == (folder / "day.csv").read_text(encoding="utf-8")
    assert printed.stdout == survey.form("plan.toml", gateway="post").csv() + "\n"
    (row,) = rows_of(folder / "day.csv")
    assert (row["inverter"], row["serial"], row["gateway"]) == ("i1", "A&B <7>", "post")
    assert float(row["high_dbm"]) - float(row["low_dbm"]) == pytest.approx(2 * 1.645 * 6.0, abs=0.11)
    assert [row[key] for key in ("level_dbm", "done", "date", "note")] == [""] * 4


def filled(folder, marks):
    """Fill in the sheet of the plan: level and mark of each row."""
    rows = rows_of(folder / "day.csv")
    with (folder / "filled.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        for row, (level, mark) in zip(rows, marks, strict=True):
            writer.writerow(row | {"level_dbm": level, "done": mark, "date": "5 March"})


def test_a_fit_reads_the_filled_sheet_and_takes_no_empty_row_for_a_missed_reading(run, folder):
    more = "".join(f'\n[[inverter]]\nname = "n{k}"\nat = [{k}.0, 5.0]\nheight_m = 2.0\n' for k in (3, 6, 9))
    write(folder, more=SPOTS + more)
    assert run("report", "plan.toml", "--form", "--gateway", "office", "--out", "day.csv").exit_code == 0
    filled(folder, [("-61", "x"), ("-60,5", ""), ("", "x"), ("", "")])
    result = run("fit", "plan.toml", "filled.csv", "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    found = json.loads(result.stdout)
    assert (found["readings"], found["missed"]) == (2, 1)
    assert {one["inverter"] for one in found["residuals"]} == {"i1", "n3", "n6"}


def test_an_empty_sheet_is_refused_with_what_to_write(run, folder):
    write(folder, more=SPOTS)
    run("report", "plan.toml", "--form", "--gateway", "office", "--out", "day.csv")
    result = run("fit", "plan.toml", "day.csv")
    assert result.exit_code == 1
    assert "day.csv: no row has a level or a mark under done; write what was read, or missed" in result.stderr


def test_the_sheet_is_about_the_recommended_spot_and_letters_tell_several_apart(run, folder):
    write(folder, more=SPOTS)
    recommended = json.loads(run("place", "plan.toml", "--draws", "5", "--json").stdout)["gateways"][0]["name"]
    run("report", "plan.toml", "--form", "--out", "one.csv")
    assert {row["gateway"] for row in rows_of(folder / "one.csv")} == {recommended}
    assert (
        run("report", "plan.toml", "--form", "--gateway", "post", "--gateway", "shed", "--out", "b.html").exit_code == 0
    )
    html = (folder / "b.html").read_text(encoding="utf-8")
    assert "Gateway A:" in html
    assert "Gateway B:" in html
    assert cells_of(html)[0][3] == "A"


def test_a_name_of_the_plan_stands_as_text_in_page_and_style(run, folder):
    (folder / "plan.toml").write_text(changed(('"invented yard"', "'</style><b>\"x'")), encoding="utf-8")
    assert run("report", "plan.toml", "--form", "--out", "day.html").exit_code == 0
    html = (folder / "day.html").read_text(encoding="utf-8")
    assert "<b>" not in html
    assert html.count("</style>") == 1


@pytest.mark.parametrize(
    ("words", "status", "problem"),
    [
        (["--csv", "--out", "a.html"], 2, "--csv is only for --form"),
        (["--form", "--readings", "r.csv", "--out", "a.html"], 2, "omit --readings and --log"),
        (["--form", "--out", "a.pdf"], 1, "the sheet is HTML or CSV; end it in .html or .csv"),
        (["--form", "--csv", "--out", "a.html"], 1, "a.html: ends in .html, but csv is asked for"),
        (["--form", "--out", "plan.toml"], 1, "the sheet is HTML or CSV"),
    ],
)
def test_what_does_not_go_together_is_refused(run, folder, words, status, problem):
    (folder / "plan.toml").write_text(MINIMAL, encoding="utf-8")
    (folder / "r.csv").write_text("inverter,gateway,level_dbm\ni1,office,-70\n", encoding="utf-8")
    result = run("report", "plan.toml", *words)
    assert result.exit_code == status
    assert problem in " ".join(result.stderr.split())
