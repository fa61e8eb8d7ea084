"""Names of columns by what they hold: the own ones, and plain words in English and German for the same."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

from survey.inputs.logs.style import Style, answer_of, level_of

REQUIRED = ("time", "inverter", "gateway", "heard")
OPTIONAL = ("level_dbm", "power_w", "branch", "date")
NAMED = (*REQUIRED, *OPTIONAL, "serial")
"""What a column may hold, by its own name."""
SOUGHT = ("time", "date", "serial", "inverter", "gateway", "level_dbm", "heard", "power_w", "branch")
"""The order in which columns are looked for: a name that the plan knows comes before one that it does not."""
MIN_WIDE = 2
"""Columns of inverters that make a table a wide one. A judgement."""
WORDS = {
    "time": "time, timestamp, date time, date and time, poll time, polled at, asked at, logged at, recorded at, "
    "log time, event time, reading time, local time, utc time, unix time, epoch, time of day, clock, utc, ts, when, "
    "zeitstempel, zeitpunkt, datum uhrzeit, datum zeit, datum und uhrzeit, datum und zeit, uhrzeit, zeit, abfragezeit, "
    "messzeit, zeitmarke, ortszeit",
    "date": "date, day, poll date, datum, tag, messdatum, kalendertag",
    "inverter": "inverter, inverter name, inverter id, microinverter, micro inverter, module inverter, device, "
    "device name, device id, unit, unit name, unit id, node, node name, node id, module, module name, name, id, "
    "transmitter, wechselrichter, mikrowechselrichter, modulwechselrichter, wechselrichtername, wr, geraet, "
    "geraetename, geraete id, einheit, knoten, modul, bezeichnung, sender",
    "serial": "serial, serial number, serial no, serialnumber, inverter serial, inverter serial number, device serial, "
    "sn, s n, seriennummer, serien nr, seriennr, serien nummer, geraetenummer",
    "gateway": "gateway, gateway name, gateway id, gw, receiver, receiver name, base station, base, hub, collector, "
    "concentrator, data logger, datalogger, logger, coordinator, master, empfaenger, basisstation, basis, "
    "datenlogger, zentrale, sammler",
    "heard": "heard, answered, answer, response, responded, reply, replied, received, reachable, online, connected, "
    "connection, available, alive, present, success, result, poll result, answer received, reply received, ok, "
    "communication, comms, comm, comm status, link status, connection status, online status, status, state, "
    "gehoert, geantwortet, beantwortet, antwort, antwort erhalten, empfangen, erreichbar, erreicht, verbunden, "
    "verbindung, verbindungsstatus, verfuegbar, kommunikation, abfrageergebnis, ergebnis, zustand",
    "level_dbm": "level, rssi, signal level, signal strength, received level, received power, "
    "receive level, rx level, rx power, rx, field strength, strength, reception, signal, dbm, pegel, empfangspegel, "
    "signalpegel, signalstaerke, empfangsstaerke, feldstaerke, empfang, empfangsleistung",
    "power_w": "power, ac power, output power, active power, output, watt, watts, w, leistung, ac leistung, "
    "wirkleistung, ausgangsleistung",
    "branch": "branch, supply branch, ac branch, circuit, ac circuit, supply circuit, breaker, supply, feeder, "
    "stromkreis, zweig, abzweig, strang, versorgungszweig, leitung, sicherung, zuleitung",
}
"""Plain words for each, the most telling first; with ae for a-umlaut and so on. Own list, of no maker's export."""
RANKS = {holds: {word: k for k, word in enumerate(text.split(", "))} for holds, text in WORDS.items()}
UNITS = {
    "": frozenset(NAMED),
    "dbm": frozenset(("level_dbm",)),
    "w": frozenset(("power_w",)),
    "watt": frozenset(("power_w",)),
}
"""What a column of such a unit may hold; of another unit, such as % or kW, it is none of these."""
REMARK_WORDS = "utc gmt local lokal iso s ms unix cet cest mez mesz 0/1 1/0 yes/no y/n ja/nein j/n"
REMARKS = frozenset(REMARK_WORDS.split())
"""What else may stand in brackets behind the name of a column, and says nothing about what it holds."""
IN_BRACKETS = re.compile(r"(.*\S)\s*[\[(]\s*([^\[\]()]*?)\s*[\])]")
UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss"})
FITS = 0.5
"""Share of the sample that a column must read as, to be taken for what its name says. A judgement."""


def folded(name: str) -> str:
    """Return a name without regard to case and to the kind and number of its spaces.

    Examples
    --------
    >>> folded(" WR\u00a001 ")
    'wr 01'
    """
    return " ".join(name.casefold().split())


def inverter_in(name: str, known: Collection[str]) -> str:
    """Return the name of an inverter that heads a column of a wide table, without a unit; empty where it is none.

    Examples
    --------
    >>> inverter_in("WR 01 [dBm]", {"wr 01"}), inverter_in("WR 01 [m]", {"wr 01"})
    ('WR 01', '')
    """
    text = name.strip()
    match = IN_BRACKETS.fullmatch(text)
    if folded(text) not in known and match and match[2].casefold() in {*UNITS, *REMARKS}:
        text = match[1]
    return text if folded(text) in known else ""


@dataclass(frozen=True, kw_only=True)
class Named:
    """What each column of a header holds.

    Attributes
    ----------
    holds : list of str
        By column, one of `NAMED`, or the name in the file where it is none of them.
    taken : dict of str to str
        Columns that a plain word named: what each holds, and its name in the file.
    """

    holds: list[str]
    taken: dict[str, str]


def plain(name: str) -> tuple[str, str]:
    """Return a name of a column in plain letters, and the unit behind it.

    Examples
    --------
    >>> plain("Signalst\u00e4rke [dBm]"), plain("RX_LEVEL"), plain("Serien-Nr.")
    (('signalstaerke', 'dbm'), ('rx level', ''), ('serien nr', ''))
    """
    text, unit = name.strip().casefold().translate(UMLAUTS), ""
    if match := IN_BRACKETS.fullmatch(text):
        text, unit = match[1], "" if match[2] in REMARKS else match[2]
    words = re.sub(r"[\W_]+", " ", text).split()
    if len(words) > 1 and not unit and words[-1] in UNITS:
        unit = words.pop()
    return " ".join(words), unit


def rank(name: str, holds: str) -> int | None:
    """Return how well a name fits what a column holds, 0 for best; None where it does not."""
    word, unit = plain(name)
    return RANKS[holds].get(word) if holds in UNITS.get(unit, ()) else None


def named(
    written: Sequence[str],
    renamed: Mapping[str, str],
    *,
    known: Collection[str] = (),
    gateways: Collection[str] = (),
    sample: Sequence[Sequence[str]] = (),
    gateway: str | None = None,
) -> Named:
    """Say what each column holds: as the user says, by its own name, or by a plain word that its cells agree with.

    Parameters
    ----------
    written : sequence of str
        The header's cells.
    renamed : mapping of str to str
        What the user says: name here, name in the file.
    known, gateways : collection of str
        Names and serials of the plan's inverters, and names of its gateways and spots, all `folded`.
    sample : sequence of sequence of str
        Rows below the header.
    gateway : str or None
        The only gateway, which a column of other names does not name.
    """
    called = {name.strip().casefold(): one for one, name in renamed.items()}
    names = [one.strip().casefold() for one in written]
    holds = [called.get(one, f"{one} in the file" if one in renamed else one) for one in names]
    taken: dict[str, str] = {}
    tests = _tests(known, gateways)
    is_wide = sum(bool(inverter_in(one, known)) for one in names) >= MIN_WIDE
    for what in ("time", "date") if is_wide else SOUGHT:
        if what in holds or (what == "inverter" and "serial" in holds) or (what == "serial" and "inverter" in holds):
            continue
        found = [
            (place, k)
            for k, one in enumerate(written)
            if holds[k] not in NAMED and not inverter_in(one, known) and (place := rank(one, what)) is not None
        ]
        fitting = [one for one in found if _fits([row[one[1]] for row in sample if one[1] < len(row)], tests.get(what))]
        needed = what in {"time", "inverter"} or (what == "heard" and "level_dbm" not in holds)
        if needed or (what == "gateway" and gateway is None):
            fitting = fitting or found  # so that its cells are named where they are not understood
        if fitting:
            column = min(fitting)[1]
            holds[column] = what
            taken[what] = written[column].strip()
    return Named(holds=holds, taken=taken)


def _tests(known: Collection[str], gateways: Collection[str]) -> dict[str, Callable[[str], bool]]:
    """What a cell must be for a column to hold each."""
    style = Style()
    return {
        "time": lambda cell: style.seconds_of(cell) is not None or style.clock_of(cell) is not None,
        "date": lambda cell: style.day_of(cell) is not None or style.seconds_of(cell) is not None,
        "inverter": lambda cell: folded(cell) in known,
        "serial": lambda cell: folded(cell) in known,
        "gateway": lambda cell: folded(cell) in gateways,
        "heard": lambda cell: answer_of(cell) is not None,
        "level_dbm": lambda cell: (value := level_of(cell)) is not None and not value > 0.0,
    }


def _fits(cells: Sequence[str], test: Callable[[str], bool] | None) -> bool:
    told = [one.strip() for one in cells if one.strip()]
    return test is None or not told or sum(map(test, told)) >= FITS * len(told)
