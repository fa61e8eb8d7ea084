"""Logs as loggers and spreadsheets export them: each way of writing one log reads as that log."""

import zipfile
from datetime import UTC, datetime, timedelta

import pytest

from survey.base.errors import FileError
from survey.inputs.logs import read_log

NAMES = ["roof-1", "roof-2", "Süd"]
FIRST = datetime(2026, 5, 11, 10, 0)  # noqa: DTZ001  the site's clock
POLLS = [
    (FIRST + timedelta(days=4 * (k // 6), minutes=10 * (k % 6)), name, (k + j) % 3 > 0, -70.5 - k - j)
    for k in range(24)
    for j, name in enumerate(NAMES)
]
HEADER = "time,inverter,gateway,heard,level_dbm"


def rows(
    at="{:%Y-%m-%dT%H:%M}", words=("0", "1"), level="{:.1f}", delimiter=",", *, header=HEADER, keep=(0, 1, 2, 3, 4)
):
    lines = [delimiter.join(header.split(",")[k] for k in keep)]
    for time, name, heard, dbm in POLLS:
        cells = [at.format(time), name, "office", words[heard], level.format(dbm) if heard else ""]
        lines.append(delimiter.join(cells[k] for k in keep))
    return "\n".join(lines) + "\n"


def read(folder, text, *, name="log.csv", **more):
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    names = {"inverters": NAMES, "serials": ["1001", "1002", ""], "gateways": ["office"], "gateway": "office"} | more
    return read_log(path, **names)


def refusal(folder, text, **more):
    with pytest.raises(FileError) as raised:
        read(folder, text, **more)
    return str(raised.value).replace(str(folder / "log.csv"), "log.csv")


LOCAL, DAY = "{:%d/%m/%Y %H:%M}", "{:%d.%m.%Y,%H:%M:%S}"
SAME = {
    "itself": rows(),
    "day first": rows(LOCAL),
    "month first": rows("{:%m/%d/%Y %H:%M}"),
    "dots and two figures of the year": rows("{:%d.%m.%y %H:%M}"),
    "AM and PM": rows("{:%d/%m/%Y %I:%M %p}"),
    "date and time in two columns": rows(DAY, header="date;time,inverter,gateway,heard,level_dbm").replace(";", ","),
    "semicolons and decimal commas": rows(LOCAL, delimiter=";").replace(".", ","),
    "tabs": rows(LOCAL, delimiter="\t"),
    "UTF-16": rows(LOCAL).encode("utf-16"),
    "UTF-16 without a mark": rows().encode("utf-16-le"),
    "Windows-1252": rows(LOCAL).encode("cp1252"),
    "comment before the header": "# export\n\n# of a site\n" + rows(),
    "a title before the header": "Log of the site\nsecond line\n" + rows(),
    "sep": "sep=;\n" + rows(delimiter=";"),
    "true and false": rows(words=("false", "TRUE")),
    "yes and no": rows(words=("No", "yes")),
    "ja and nein": rows(words=("nein", "Ja")),
    "online and offline": rows(words=("offline", "Online")),
    "ok and a dash": rows(words=("-", "ok")),
    "levels with their unit": rows(level="{:.1f} dBm"),
    "a level alone": rows(keep=(0, 1, 2, 4)),
    "no gateway": rows(keep=(0, 1, 3, 4)),
    "names in capitals": rows().replace("roof", "ROOF").replace("Süd", "SÜD"),
    "serials": rows().replace("roof-", "100"),
    "bars": rows(delimiter="|"),
    "bars below a title with a comma": "Site, log\n" + rows(delimiter="|"),
    "sep with a tab": "sep=\t\n" + rows(delimiter="\t"),
    "SEP in capitals": "SEP=;\n" + rows(delimiter=";"),
    "UTF-8 with a mark": b"\xef\xbb\xbf" + rows(LOCAL).encode(),
    "UTF-16, big end first": b"\xfe\xff" + rows(LOCAL).encode("utf-16-be"),
    "the header as a comment": "# an export\n# " + rows(),
    "comments with slashes": "// export\n" + rows(),
    "comments between rows": rows().replace("\n", "\n# a remark\n", 3),
    "every cell in quotes": "".join(
        ",".join(f'"{cell}"' for cell in line.split(",")) + "\n" for line in rows().splitlines()
    ),
    "decimal commas in quotes between commas": rows(level='"{:.1f}"').replace(".5", ",5"),
    "names of months": rows("{:%d %b %Y %H:%M}"),
    "names of months before the day": rows("{:%b %d %Y %H:%M}"),
    "names of months and AM and PM, in quotes": rows('"{:%B %d, %Y, %I:%M:%S %p}"'),
    "names of months in German": rows("{:%d. Mai %Y %H:%M}"),
    "names of months in German, short": rows("{:%d.Mai %y, %H:%M Uhr}", delimiter=";"),
    "names of months between dashes": rows("{:%d-%b-%Y %H:%M:%S}"),
    "days of the week": rows("{:%a %d.%m.%Y %H:%M}"),
    "spaces in dates": rows("{:%d. %m. %Y %H:%M}"),
    "slashes, the year first": rows("{:%Y/%m/%d %H:%M:%S}"),
    "dots, the year first": rows("{:%Y.%m.%d %H:%M}"),
    "the time before the date": rows("{:%H:%M:%S %d.%m.%Y}"),
    "parts of a second": rows("{:%d.%m.%Y %H:%M:%S.123}"),
    "AM and PM without a space": rows("{:%d/%m/%Y %I:%M:%S%p}"),
    "AM and PM with points": rows("{:%d/%m/%Y %I:%M a.m.}"),
    "date and time with other names": rows(DAY, header="Datum;Uhrzeit,inverter,gateway,heard,level_dbm").replace(
        ";", ","
    ),
    "a date column beside whole times": rows(
        "{0:%Y-%m-%d},{0:%Y-%m-%dT%H:%M}", header="Datum;Zeitstempel,inverter,gateway,heard,level_dbm"
    ).replace(";", ","),
    "a date column that holds the whole time": rows(LOCAL, header="Datum,inverter,gateway,heard,level_dbm"),
    "answered and missed": rows(words=("missed", "answered")),
    "up and down": rows(words=("down", "Up")),
    "on and off": rows(words=("OFF", "ON")),
    "received and lost": rows(words=("lost", "received")),
    "success and timeout": rows(words=("Timeout", "Success")),
    "erreichbar and nicht erreichbar": rows(words=("nicht erreichbar", "erreichbar")),
    "1.0 and 0.0": rows(words=("0.0", "1.0")),
    "levels as whole figures with their unit": rows(level="{:.1f}dBm"),
    "dashes for no level": rows(keep=(0, 1, 2, 4)).replace(",\n", ",n/a\n"),
    "English names of columns": rows(header="Timestamp,Device name,Receiver,Reachable,RSSI (dBm)"),
    "English names of columns, others": rows(header="Date/Time,Unit,Base station,Status,Signal strength"),
    "names of columns with underscores": rows(header="polled_at,node_id,gateway_id,poll_result,rx_level"),
    "German names of columns": rows(header="Zeitstempel,Wechselrichter,Empf\u00e4nger,Erreichbar,Pegel [dBm]"),
    "German names of columns, others": rows(header="Datum/Uhrzeit,Ger\u00e4t,Basisstation,Antwort,Signalst\u00e4rke"),
    "a column of serials by another name": rows(header="time,Seriennummer,gateway,heard,level_dbm").replace(
        "roof-", "100"
    ),
    "names that only the serial tells": "Zeit,Name,Seriennummer,Antwort,Pegel\n"
    + "".join(
        f"{time:%Y-%m-%dT%H:%M},unit {name[-1]},{name.replace('roof-', '100')},{int(heard)},{dbm if heard else ''}\n"
        for time, name, heard, dbm in POLLS
    ),
    "columns that are not needed": "".join(
        f"{line},{more}\n" for line, more in zip(rows().splitlines(), ["Firmware", *["v2"] * 200], strict=False)
    ),
    "a state that is no answer, beside levels": "Zeit,Name,Status,RSSI\n"
    + "".join(f"{time:%Y-%m-%dT%H:%M},{name},running,{dbm if heard else ''}\n" for time, name, heard, dbm in POLLS),
    "no-break spaces in times and levels": rows("{:%d.%m.%Y\u00a0%H:%M}", level="\u2212{:.1f}\u00a0dBm").replace(
        "\u2212-", "\u2212"
    ),
    "spaces about names": rows().replace("roof-1", " roof-1\u00a0"),
    "a unit behind a name without brackets": rows(header="time,inverter,gateway,heard,Pegel dBm"),
    "old ends of lines": rows().replace("\n", "\r"),
    "a gateway under a name of its own": rows().replace("office", "GW-4711"),
    "exports one after the other, each with its header": rows()
    .replace("\n", f"\n\n{HEADER}\n", 40)
    .replace(f"{HEADER}\n\n{HEADER}", HEADER),
    "a comma at the end of every row": rows().replace("\n", ",\n").replace("level_dbm,\n", "level_dbm\n"),
}


@pytest.mark.parametrize("text", SAME.values(), ids=SAME)
def test_ways_of_exporting_the_same_log(tmp_path, text):
    one, other = read(tmp_path, text), read(tmp_path, rows())
    assert one.time_s.tolist() == other.time_s.tolist()
    assert one.polls.tolist() == other.polls.tolist()
    assert one.heard.tolist() == other.heard.tolist()
    assert str(one.level_dbm.tolist()) == str(other.level_dbm.tolist())


def test_unix_times_are_in_universal_time(tmp_path):
    at = [(time.replace(tzinfo=UTC).timestamp(), *rest) for time, *rest in POLLS]
    for factor in (1, 1000):
        text = (
            HEADER
            + "\n"
            + "".join(f"{round(time * factor)},{name},office,{int(heard)},{dbm}\n" for time, name, heard, dbm in at)
        )
        log = read(tmp_path, text)
        assert log.stamp(log.time_s[0]) == "2026-05-11T10:00+00:00"


def test_columns_are_named_by_the_user(tmp_path):
    text = rows(header="Zeit,Gerät,Empfänger,State,RSSI", words=("offline", "online"))
    columns = {"time": "zeit", "inverter": "Gerät", "gateway": "Empfänger", "heard": "State", "level_dbm": "RSSI"}
    assert read(tmp_path, text, columns=columns).heard.tolist() == read(tmp_path, rows()).heard.tolist()
    told = refusal(tmp_path, text.replace("State,RSSI", "Mood,Tone"))
    assert 'row 1: heard: no such column among "Zeit", "Gerät", "Empfänger", "Mood", "Tone"' in told
    assert '--column heard="NAME"' in told
    assert "Mood: no such column, which --column heard names" in refusal(tmp_path, rows(), columns={"heard": "Mood"})


@pytest.mark.parametrize("levels", [True, False])
def test_a_wide_table_has_a_column_for_each_inverter(tmp_path, levels):
    by_time = {}
    for time, name, heard, dbm in POLLS:
        by_time.setdefault(time, {})[name] = (f"{dbm} dBm" if heard else "") if levels else ("ok" if heard else "-")
    text = "Zeit;" + ";".join(NAMES) + "\n"
    text += "".join(
        f"{time:%d.%m.%Y %H:%M};" + ";".join(cells[name] for name in NAMES) + "\n" for time, cells in by_time.items()
    )
    log = read(tmp_path, text, columns={"time": "Zeit"})
    assert log.polls.tolist() == read(tmp_path, rows()).polls.tolist()
    assert log.heard.tolist() == read(tmp_path, rows()).heard.tolist()
    assert "a table with one column for each inverter: 3 of them" in log.notes
    told = refusal(tmp_path, text.replace("; ;", ";?;") + "31.05.2026 10:00;perhaps;;\n", columns={"time": "Zeit"})
    assert 'row 26: roof-1: "perhaps" is' in told


def test_a_wide_table_may_have_units_and_serials_in_its_head(tmp_path):
    by_time = {}
    for time, name, heard, dbm in POLLS:
        by_time.setdefault(time, {})[name] = str(dbm) if heard else ""
    text = "Zeit;ROOF-1 [dBm];1002 (dBm);s\u00fcd\n"
    text += "".join(
        f"{time:%d.%m.%Y %H:%M};{';'.join(cells[name] for name in NAMES)}\n" for time, cells in by_time.items()
    )
    assert read(tmp_path, text).heard.tolist() == read(tmp_path, rows()).heard.tolist()
    told = refusal(tmp_path, text + "31.05.2026 10:00;-70;40;-71\n")
    assert told.startswith('log.csv: row 26: 1002: "40" is above 0 dBm')


def test_rows_that_need_care_stay_in_their_order(tmp_path):
    text = rows(level='"{:.1f}"').replace(".5", ",5")  # commas in quotes between commas
    assert read(tmp_path, text).notes == ()


def test_names_that_the_plan_lacks_are_refused_with_their_rows_where_most_are_unknown(tmp_path):
    told = refusal(
        tmp_path, "# a remark\n\n" + rows(words=("no", "yes")).replace("roof-1", "Wallbox").replace("roof-2", "x")
    )
    assert told.splitlines() == [
        'log.csv: row 4: inverter: no inverter of the plan is named "Wallbox"; it has "roof-1", "roof-2", "S\u00fcd"',
        'log.csv: row 5: inverter: no inverter of the plan is named "x"; it has "roof-1", "roof-2", "S\u00fcd"',
    ]
    many = refusal(tmp_path, HEADER + "\n" + "".join(f"2026-05-11T10:00,n{k:04},office,1,\n" for k in range(900)))
    assert many.splitlines()[5:] == ["log.csv: and 895 more names that the plan lacks"]


def test_a_gateway_of_another_name_is_assumed_only_where_one_stands_alone(tmp_path):
    text = rows().replace("office", "GW-4711")
    assert 'the log calls its only gateway "GW-4711": it is taken to be office' in read(tmp_path, text).notes
    assert 'row 2: gateway: no gateway of the plan is named "GW-4711"' in refusal(tmp_path, text, gateway=None)
    assert 'did you mean "office"?' in refusal(tmp_path, rows().replace("office", "offise"))


def test_a_log_without_a_header_is_told_so(tmp_path):
    told = refusal(tmp_path, rows().partition("\n")[2])
    assert told == (
        'log.csv: row 1: "2026-05-11T10:00" is a time: the file has no header; write '
        "time,inverter,gateway,heard above it"
    )


def test_dates_that_may_be_read_both_ways_are_refused_with_both_readings(tmp_path):
    text = HEADER + "\n" + "".join(f"03/04/2026 1{k}:00,roof-1,office,{k % 2},\n" for k in range(6))
    told = refusal(tmp_path, text)
    assert told == (
        'log.csv: time: "03/04/2026" may be 03 April 2026 or 04 March 2026, and no date of the column tells which; '
        "say --dates day-first or --dates month-first"
    )
    log = read(tmp_path, text, dates="day-first")
    assert log.stamp(log.time_s[0])[:10] == "2026-04-03"
    log = read(tmp_path, text, dates="month-first")
    assert log.stamp(log.time_s[0])[:10] == "2026-03-04"


def test_the_order_of_dates_is_told_by_the_whole_column(tmp_path):
    text = (
        HEADER
        + "\n"
        + "".join(f"05/{day:02d}/2026 10:{m}0,roof-1,office,{m % 2},\n" for day in range(1, 15) for m in range(6))
    )
    log = read(tmp_path, text)
    assert (log.stamp(log.time_s[0])[:10], log.stamp(log.time_s[-1])[:10]) == ("2026-05-01", "2026-05-14")
    assert "dates are read month first, as the column tells" in log.notes
    both = text + "13/05/2026 10:00,roof-1,office,1,\n"
    assert "more than 12 in the first place and others with more than 12 in the second" in refusal(tmp_path, both)


def test_names_that_the_plan_lacks_are_left_out_and_listed(tmp_path):
    log = read(tmp_path, rows() + "2026-05-11T10:00,shed-9,office,1,-70\n" * 2)
    assert 'no inverter of the plan is named "shed-9" (2 rows): left out' in log.notes
    assert log.polls.tolist() == read(tmp_path, rows()).polls.tolist()
    told = refusal(tmp_path, rows().replace("roof", "ruof"))
    assert 'no inverter of the plan is named "ruof-1"; did you mean "roof-1"?' in told


def test_a_log_without_gateways_is_refused_where_several_may_be_meant(tmp_path):
    assert "row 1: gateway: no such column" in refusal(tmp_path, rows(keep=(0, 1, 3)), gateway=None)


def test_what_was_assumed_is_told_in_a_line_each(tmp_path):
    text = "Site log\n" + rows(LOCAL, keep=(0, 1, 4))
    notes = read(tmp_path, text.encode("cp1252")).notes
    assert notes[:4] == (
        "text is not in UTF-8; it is read as Windows-1252",
        "lines before the header: 1, skipped",
        "no column names the gateway: all polls are taken to be of office",
        "no column says whether a poll was answered: one with a level was, one without was missed",
    )
    assert "dates are read day first, as the column tells" in notes


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "2026-05-11T10:00,roof-1,office,0",
            "noon,roof-1,office,0",
            'row 2: time: "noon" is not a time; write it as in 2026',
        ),
        (
            "2026-05-11T10:00,roof-1,office,0",
            "2026-05-11T10:00,roof-1,office,perhaps",
            'row 2: heard: "perhaps" is not a known answer',
        ),
        (",-71.5", ",loud", 'row 3: level_dbm: "loud" is not a number; write a level in dBm'),
    ],
)
def test_a_refusal_names_row_and_column_and_says_what_would_be_read(tmp_path, old, new, told):
    assert told in refusal(tmp_path, rows().replace(old, new, 1))


def workbook(path, table):
    """A small spreadsheet file, by the published form of its parts (ECMA-376)."""
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    links = "http://schemas.openxmlformats.org/package/2006/relationships"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    cells = "".join(
        "<row>" + "".join(f'<c t="inlineStr"><is><t>{cell}</t></is></c>' for cell in row) + "</row>" for row in table
    )
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    parts = {
        "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{kind}.sheet.main+xml"/>'
        f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{kind}.worksheet+xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{links}"><Relationship Id="r1" Type="{office}/officeDocument" '
        'Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{office}"><sheets>'
        '<sheet name="log" sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{links}"><Relationship Id="r1" Type="{office}/worksheet" '
        'Target="worksheets/sheet1.xml"/></Relationships>',
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{main}"><sheetData>{cells}</sheetData></worksheet>',
    }
    with zipfile.ZipFile(path, "w") as file:
        for name, text in parts.items():
            file.writestr(name, text)
    return path.read_bytes()


def test_a_spreadsheet_file_reads_as_the_table_in_it(tmp_path):
    pytest.importorskip("python_calamine", reason="needs the extra spreadsheets")
    table = [line.split(",") for line in rows(LOCAL).splitlines()]
    data = workbook(tmp_path / "made.xlsx", table)
    assert read(tmp_path, data, name="log.xlsx").heard.tolist() == read(tmp_path, rows()).heard.tolist()
    with pytest.raises(FileError, match="is no spreadsheet that can be read"):
        read(tmp_path, data[:200], name="log.xlsx")


def open_document(path, table):
    """A small spreadsheet file with real dates, by the published form of its parts (ISO/IEC 26300)."""
    names = {one: f"urn:oasis:names:tc:opendocument:xmlns:{one}:1.0" for one in ("office", "table", "text", "manifest")}
    spaces = " ".join(f'xmlns:{one}="{name}"' for one, name in names.items())

    def cell(value):
        if isinstance(value, datetime):
            kind = f'office:value-type="date" office:date-value="{value:%Y-%m-%dT%H:%M:%S}"'
        elif isinstance(value, float):
            kind = f'office:value-type="float" office:value="{value}"'
        else:
            kind = 'office:value-type="string"'
        return f"<table:table-cell {kind}><text:p>{value}</text:p></table:table-cell>"

    def sheet(name, rows):
        lines = "".join(f"<table:table-row>{''.join(map(cell, row))}</table:table-row>" for row in rows)
        return f'<table:table table:name="{name}">{lines}</table:table>'

    body = sheet("cover", [["Log of the site"]]) + sheet("log", table)
    parts = {
        "mimetype": "application/vnd.oasis.opendocument.spreadsheet",
        "META-INF/manifest.xml": f"<manifest:manifest {spaces}/>",
        "content.xml": f"<office:document-content {spaces}><office:body><office:spreadsheet>{body}"
        "</office:spreadsheet></office:body></office:document-content>",
    }
    with zipfile.ZipFile(path, "w") as file:
        for name, text in parts.items():
            file.writestr(name, text)
    return path.read_bytes()


def test_the_longest_sheet_of_a_spreadsheet_file_is_read_with_its_dates(tmp_path):
    pytest.importorskip("python_calamine", reason="needs the extra spreadsheets")
    table = [["Zeitpunkt", "Ger\u00e4t", "Online", "Pegel"]]
    table += [[time, name, float(heard), dbm if heard else ""] for time, name, heard, dbm in POLLS]
    log = read(tmp_path, open_document(tmp_path / "made.ods", table), name="log.ods")
    assert log.heard.tolist() == read(tmp_path, rows()).heard.tolist()
    assert str(log.level_dbm.tolist()) == str(read(tmp_path, rows()).level_dbm.tolist())
    assert log.notes[0] == 'of 2 sheets the longest is read: "log"'


def test_columns_that_plain_words_name_are_told_in_one_line(tmp_path):
    notes = read(tmp_path, rows(header="Zeitstempel,Device,gateway,Erreichbar,RSSI [dBm]")).notes
    told = 'time from "Zeitstempel", inverter from "Device", level_dbm from "RSSI [dBm]", heard from "Erreichbar"'
    assert notes == (f"columns taken by their names: {told}",)


def test_a_name_in_another_unit_is_no_level(tmp_path):
    log = read(tmp_path, rows(header="time,inverter,gateway,heard,Signal [%]"))
    assert log.level_dbm is None
    assert log.notes == ("columns not used: signal [%]",)


def test_a_refusal_names_the_column_as_the_file_does(tmp_path):
    text = rows(header="Zeit,Wechselrichter,gateway,Status,RSSI", words=("degraded", "fine"), keep=(0, 1, 3))
    told = 'log.csv: row 2: heard (column "Status"): "degraded" is not a known answer; write 1 or 0 (or yes/no,'
    assert told in refusal(tmp_path, text)


@pytest.mark.parametrize(
    ("at", "shown"),
    [
        ("{:%Y-%m-%dT%H:%M:%SZ}", "2026-05-11T10:00+00:00"),
        ("{:%Y-%m-%d %H:%M:%S UTC}", "2026-05-11T10:00+00:00"),
        ("{:%Y-%m-%dT%H:%M+02:00}", "2026-05-11T10:00+02:00"),
        ("{:%Y-%m-%d %H:%M:%S +0200}", "2026-05-11T10:00+02:00"),
        ("{:%d.%m.%Y %H:%M:%S MESZ}", "2026-05-11T10:00+02:00"),
        ("{:%d %b %Y %I:%M %p UTC-5}", "2026-05-11T10:00-05:00"),
        ("{:%d/%m/%Y %H:%M GMT+1}", "2026-05-11T10:00+01:00"),
    ],
)
def test_offsets_from_universal_time_are_read(tmp_path, at, shown):
    log = read(tmp_path, rows(at))
    assert log.stamp(log.time_s[0]) == shown
    assert log.heard.tolist() == read(tmp_path, rows()).heard.tolist()


@pytest.mark.parametrize(
    "cell", ["31.02.2026 10:00", "12 Foo 2026 10:00", "2026-05-11T25:00", "13:00 PM", "05/2026", "soon"]
)
def test_a_time_that_is_none_is_refused_with_its_row(tmp_path, cell):
    text = rows() + f"{cell},roof-1,office,1,-70\n"
    assert f'log.csv: row 74: time: "{cell}" is not a time; write it as in 2026-05-01T06:30' in refusal(tmp_path, text)
