"""The table of many sites: a CSV file with a row a site, or a folder with a folder a site."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from survey.base.errors import Fault, TableError, one_line, why_unread
from survey.fleet.site import FILES, REMOTE, Site
from survey.inputs.csv_files import read_table

PLAN_NAME = "plan.toml"
"""The plan in the folder of a site; a folder with one TOML file may call it otherwise."""
NAMES = {
    "log": ("log.csv", "log.parquet", "log.xlsx"),
    "readings": ("readings.csv",),
    "fit": ("fit.json",),
    "branch": ("branch.csv",),
}
"""What the other files in the folder of a site are called; the first that is there counts."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """A row that cannot be used: where it stands, the site that it names, and why."""

    place: str
    site: str
    problem: str


@dataclass(frozen=True, kw_only=True)
class SitesTable:
    """Sites in the order of their table, those rows that cannot be used, and where each site stands."""

    file: str
    sites: tuple[Site, ...]
    refused: tuple[Row, ...]
    places: dict[str, str]

    def __len__(self) -> int:
        return len(self.sites) + len(self.refused)


def read_sites(path: str | Path) -> SitesTable:
    """Read the table of sites.

    Parameters
    ----------
    path : str or Path
        A CSV file with the columns site and plan and, perhaps, log, readings, fit and branch, with paths from the
        table's folder; or a folder with a folder for each site.

    Returns
    -------
    SitesTable
        Without a look into any of the files.

    Raises
    ------
    TableError
        Where there is no such table, or nothing in it.
    """
    path = Path(path)
    return _of_folder(path) if path.is_dir() else _of_table(path)


def _of_table(path: Path) -> SitesTable:
    table = read_table(path, needed=("site", "plan"), also=FILES[1:])
    rows = []
    for row, line in enumerate(table.lines):
        values = {key: table.columns[key][row] for key in ("site", *FILES) if key in table.columns}
        files = {key: _beside(path, values.get(key, "")) for key in FILES if key != "branch"}
        branch = values.get("branch", "")
        branch = _beside(path, branch) if branch.casefold().endswith(".csv") else branch
        rows.append((f"line {line}", Site(name=values["site"], branch=branch, base=os.getcwd(), **files)))  # noqa: PTH109  text
    return _sorted_out(str(path), rows)


def _beside(table: Path, cell: str) -> str:
    """Return the file of a cell: an address as it is, a path from the folder of the table."""
    return cell if not cell or REMOTE in cell else str(table.parent / cell)


def _of_folder(folder: Path) -> SitesTable:
    try:
        inside = sorted(one for one in folder.iterdir() if one.is_dir() and not one.name.startswith("."))
    except OSError as error:
        raise TableError([Fault(file=str(folder), problem=why_unread(folder, error))]) from None
    rows = []
    for one in inside:
        plans = [one / PLAN_NAME] if (one / PLAN_NAME).is_file() else sorted(one.glob("*.toml"))
        there = {
            key: next((str(one / name) for name in names if (one / name).is_file()), "") for key, names in NAMES.items()
        }
        plan = str(plans[0] if len(plans) == 1 else one / PLAN_NAME)
        rows.append((one.name, Site(name=one.name, plan=plan, base=os.getcwd(), **there)))  # noqa: PTH109  text
    if not rows:
        problem = f"has no folders; it needs one for each site, with a {PLAN_NAME} in it"
        raise TableError([Fault(file=str(folder), problem=problem)])
    return _sorted_out(str(folder), rows)


def _sorted_out(file: str, rows: Iterable[tuple[str, Site]]) -> SitesTable:
    """Set rows aside that have no name, no plan, or the name of another row."""
    places: dict[str, str] = {}
    sites, refused = [], []
    for place, site in rows:
        name = one_line(site.name)
        if not name:
            refused.append(Row(place=place, site="", problem="site: is empty; each site needs a name"))
        elif name in places:
            problem = f'site: "{name}" is also in {places[name]}; give each site its own name'
            refused.append(Row(place=place, site=name, problem=problem))
        elif not site.plan:
            refused.append(Row(place=place, site=name, problem="plan: is empty; each site needs a plan"))
        else:
            places[name] = place
            sites.append(site)
    return SitesTable(file=file, sites=tuple(sites), refused=tuple(refused), places=places)
