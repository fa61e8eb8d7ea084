"""The sheet for a day of readings: every inverter with its expected level, and space to write, on paper or as CSV."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from survey.base.layout import counted
from survey.inputs.plan import Plan
from survey.output.answers.figures import CAUTION, NOTHING_DB, letter, radio_words
from survey.output.answers.values import csv_text
from survey.output.answers.where import entry_of, where_words
from survey.routing import Network

NINE_OF_TEN = 1.645
"""Between so many standard deviations below and above its mean lie nine tenths of a normal distribution: its quantile
of 95 %."""
READ_FIRST = 3
"""Inverters to read first: the weakest links settle most. A judgement."""

COLUMNS = ("inverter", "serial", "gateway", "expected_dbm", "low_dbm", "high_dbm", "level_dbm", "done", "date", "note")
"""Of the CSV. `survey fit` reads it back: rows without a level and without a mark under ``done`` were not tried."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """One inverter on the sheet.

    Attributes
    ----------
    inverter, serial, gateway : str
        Names; an empty serial where the plan has none.
    expected_dbm : float
        Predicted level at the gateway. [dBm]
    low_dbm, high_dbm : float
        Between these nine of ten readings should lie. [dBm]
    sensitivity_dbm : float
        Lowest level that the gateway hears there. [dBm]
    is_first : bool
        Whether it is one of the weakest, to be read first.
    """

    inverter: str
    serial: str
    gateway: str
    expected_dbm: float
    low_dbm: float
    high_dbm: float
    sensitivity_dbm: float
    is_first: bool

    @property
    def expected_words(self) -> str:
        """The expected level in whole dB; `no answer` where it is below what the gateway hears."""
        return f"{self.expected_dbm:.0f}" if self.expected_dbm >= self.sensitivity_dbm else "no answer"

    @property
    def span_words(self) -> str:
        """The span, cut where the gateway hears nothing."""
        if self.high_dbm < self.sensitivity_dbm:
            return "no answer"
        if self.low_dbm < self.sensitivity_dbm:
            return f"no answer, up to {self.high_dbm:.0f}"
        return f"{self.low_dbm:.0f} to {self.high_dbm:.0f}"


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A day of readings.

    Attributes
    ----------
    network : Network
        Every inverter with the gateways at which levels are read.
    is_installed : bool
        Whether all these gateways stand today.
    """

    network: Network
    is_installed: bool

    @property
    def plan(self) -> Plan:
        """The plan."""
        return self.network.scene.plan

    @property
    def lines(self) -> list[Line]:
        """Every inverter in the order of the plan."""
        links, ends = self.network.links, self.network.links.inverters
        first = set(self._weakest())
        lines = []
        for i, j in enumerate(self.network.gateway_of.tolist()):
            level_dbm, away_db = float(links.uplink_level_dbm[i, j]), NINE_OF_TEN * float(links.sigma_db[i, j])
            lines.append(
                Line(
                    inverter=ends.names[i],
                    serial=ends.serials[i],
                    gateway=links.gateways.names[j],
                    expected_dbm=level_dbm,
                    low_dbm=level_dbm - away_db,
                    high_dbm=level_dbm + away_db,
                    sensitivity_dbm=float(links.gateways.need_dbm[j]),
                    is_first=i in first,
                )
            )
        return lines

    def _weakest(self) -> list[int]:
        """The inverters to read first: the weakest links by which something still arrives."""
        links, at = self.network.links, self.network.gateway_of
        margin_db = links.uplink_margin_db[np.arange(len(at)), at]
        order = np.argsort(margin_db, kind="stable")
        heard = [i for i in order.tolist() if margin_db[i] >= NOTHING_DB]
        return (heard or order.tolist())[:READ_FIRST]

    @property
    def gateways(self) -> list[tuple[str, str, str]]:
        """Letter (empty for one gateway), name and position in words of each."""
        ends, several = self.network.links.gateways, len(self.network.links.gateways) > 1
        return [
            (letter(j) if several else "", name, where_words(entry_of(self.plan, place), (x, y, z)))
            for j, (name, place, (x, y, z)) in enumerate(zip(ends.names, ends.places, ends.at_m.tolist(), strict=True))
        ]

    def csv(self) -> str:
        """Return the sheet as CSV, with empty cells for what is read."""
        return csv_text(
            COLUMNS,
            (
                [
                    one.inverter,
                    one.serial,
                    one.gateway,
                    *(round(value, 1) for value in (one.expected_dbm, one.low_dbm, one.high_dbm)),
                    *("", "", "", ""),
                ]
                for one in self.lines
            ),
        )

    def html(self, *, date: str = "") -> str:
        """Return the sheet as a page to print; HTML that needs no other file and no network."""
        lines = self.lines
        letters = {name: mark for mark, name, _ in self.gateways}
        text: str = _template().render(
            plan=self.plan,
            radio=radio_words(self.plan),
            gateways=self.gateways,
            letters=letters,
            is_installed=self.is_installed,
            lines=lines,
            count=counted(len(lines), "inverter"),
            first=[one.inverter for one in lines if one.is_first],
            outside=round(len(lines) / 10.0),
            site_in_css=css_text(self.plan.site.name),
            date=date,
            caution=CAUTION,
            fit_command=_fit_command(self.plan),
        )
        return text.lstrip().encode("utf-8", "replace").decode("utf-8")


def css_text(text: str) -> str:
    r"""Return text for a string in a style sheet: whatever is no plain letter or digit as its code.

    Examples
    --------
    >>> css_text('a"b')
    'a\\22 b'
    """
    return "".join(one if one.isascii() and one.isalnum() else f"\\{ord(one):x} " for one in text)


def _fit_command(plan: Plan) -> str:
    from shlex import quote  # noqa: PLC0415  with a sheet only

    return f"survey fit {quote(plan.file)} SHEET.csv"


@cache
def _template() -> Any:  # noqa: ANN401  jinja2 is loaded here only
    from importlib.resources import files  # noqa: PLC0415  with a sheet only

    from jinja2 import Environment, StrictUndefined  # noqa: PLC0415  heavy

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return environment.from_string(
        files("survey.output").joinpath("templates", "sheet.html").read_text(encoding="utf-8")
    )
