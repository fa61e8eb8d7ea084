"""Read a site plan from a TOML file: the steps, from text to plan, with every fault of the file in one message."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from survey.base.errors import EntryError, PlanError
from survey.base.limits import MAX_INVERTERS, MAX_SPOTS
from survey.inputs.drawings import FROM, POSITIONS, SHAPES, Drawing, Drawings, Placed, expanded
from survey.inputs.plan import Environment, Plan, Requirement, Roof, Site, Wall
from survey.inputs.plan.ground import Ground
from survey.inputs.plan.place_keys import BUILDING, PLACE_KEYS, has_places
from survey.inputs.plan_reading.above_ground import above_ground
from survey.inputs.plan_reading.entries import TABLES, EntryReader, list_tables, name_of, written
from survey.inputs.plan_reading.materials import check_materials, read_patterns
from survey.inputs.plan_reading.names import check_names, made_names
from survey.inputs.plan_reading.toml import content_of, parse_bytes, parse_text

if TYPE_CHECKING:  # it is loaded where a plan has a building, or anything that stands on a face
    from survey.inputs.buildings import Building
    from survey.inputs.places import Layout

__all__ = ["TABLES", "list_tables", "parse_text", "plan_of", "read_plan", "read_plan_and_content"]


def read_plan(path: Path) -> Plan:
    """Read and check a plan.

    Parameters
    ----------
    path : Path
        A TOML file in UTF-8.

    Returns
    -------
    Plan
        With every default filled in and every name known to be good.

    Raises
    ------
    PlanError
        With every fault of the file.
    """
    return read_plan_and_content(path)[0]


def read_plan_and_content(path: Path) -> tuple[Plan, bytes]:
    """Read a plan, and return with it the bytes that it was made of; otherwise as `read_plan`."""
    content = content_of(path)
    return plan_of(parse_bytes(content, str(path)), file=str(path), folder=path.parent), content


def plan_of(tables: dict[str, Any], *, file: str, folder: Path = Path()) -> Plan:
    """Make a plan of tables already parsed.

    Raises
    ------
    PlanError
        With every fault of the tables.
    """
    return _Reader(file, folder).plan(tables)


class _Reader(EntryReader):
    """Turns the tables of a plan into a plan, step by step."""

    def __init__(self, file: str, folder: Path) -> None:
        super().__init__(file)
        self.folder = folder
        self.drawn_from: tuple[str, ...] = ()

    def plan(self, tables: dict[str, Any]) -> Plan:
        """The whole plan, or every fault."""
        self.check_version(tables)
        self.check_tables(tables)
        site = self.entry(Site, self.table(tables, "site", needed=True), "[site]")
        radio = self.radio(self.table(tables, "radio", needed=True))
        environment = self.entry(Environment, self.table(tables, "environment"), "[environment]")
        requirement = self.entry(Requirement, self.table(tables, "requirement"), "[requirement]")
        if not tables.get("inverter") and not tables.get("array"):
            self.fault("", "", "has no inverter; add an [[array]] or an [[inverter]]")
        drawn = self.entries(tables, "drawing", Drawing)
        grounds = self.entries(tables, "ground", Ground)
        tables, drawings = self._expanded(tables, drawn, site)
        tables = above_ground(self, tables, grounds)
        buildings = self._buildings(tables)
        tables, layout = self._laid_out(tables, buildings, drawings, site)
        lists: dict[str, list[tuple[str, Any]]] = {"drawing": drawn, "ground": grounds}
        for name, (_, entry) in self.list_tables.items():
            if name not in lists:
                lists[name] = self.entries(tables, name, entry)
        lists["wall"], lists["roof"], merged = self._pieces(lists["wall"], lists["roof"])
        self._check_count(lists)
        check_names(self, tables, lists, made=[*made_names(layout), *((one.name, place) for place, one in merged)])
        check_materials(self, tables, buildings, layout.leaf_materials if layout else ())
        patterns = read_patterns(self, tables, folder=self.folder)
        if layout and layout.refused and not self.faults:  # a plan with stand-ins is never computed with
            self.fault(layout.refused[0], "", "cannot be placed: see what it stands on")
        if self.faults or site is None or radio is None or environment is None or requirement is None:
            raise PlanError(self.faults)
        fields: dict[str, tuple[Any, ...]] = {}
        for name, (field, _) in self.list_tables.items():
            fields[field] = (*fields.get(field, ()), *(one for _, one in lists[name]))
        opened = layout.opened if layout else {}
        fields["obstacles"] = tuple(part for one in fields["obstacles"] for part in opened.get(one.name, (one,)))
        fields["obstacles"] += (*(part for _, part in merged), *(layout.obstacles if layout else ()))
        if site.joint_m is not None:
            from survey.inputs.places import joined  # noqa: PLC0415  start-up time

            fields["obstacles"] = joined(fields["obstacles"], joint_m=site.joint_m)
        fields["obstacles"] += tuple(row for array in fields["arrays"] for row in array.module_rows())
        if layout:
            fields["buildings"], fields["faces"] = tuple(one for _, one in buildings), layout.faces
        return Plan(
            file=self.file,
            folder=self.folder,
            site=site,
            radio=radio,
            environment=environment,
            requirement=requirement,
            patterns=patterns,
            drawn_from=self.drawn_from,
            defaults=tuple(self.defaults),
            moved_m=layout.moved_m if layout else {},
            attached=layout.attached if layout else {},
            openings=tuple(layout.openings) if layout else (),
            **fields,
        )

    def _check_count(self, lists: dict[str, list[tuple[str, Any]]]) -> None:
        """Refuse more inverters or spots than can be handled, before any of them is made.

        Raises
        ------
        PlanError
            With every fault so far.
        """
        inverters = len(lists["inverter"]) + sum(sum(array.row_lengths) for _, array in lists["array"])
        spots = len(lists["gateway"]) + len(lists["spot"]) + sum(one.most_points for _, one in lists["search"])
        before = len(self.faults)
        if inverters > MAX_INVERTERS:
            self.fault("", "", f"has {inverters} inverters; a plan may have up to {MAX_INVERTERS}, so write fewer")
        if spots > MAX_SPOTS:
            problem = f"has about {spots} gateways, spots and points of searches; a plan may have up to {MAX_SPOTS}"
            self.fault("", "", f"{problem}, so write longer steps")
        if len(self.faults) > before:
            raise PlanError(self.faults)

    def _expanded(
        self, tables: dict[str, Any], drawn: list[tuple[str, Drawing]], site: Site | None
    ) -> tuple[dict[str, Any], Drawings]:
        """The tables with what stands in drawings and lists in the place of `from`, and the drawings."""
        named = [name for _, values in written(tables, "drawing") if (name := name_of(values))]
        drawings = Drawings(self.folder, drawn, earth=site.earth if site else None, known=named)
        faults = list(drawings.faults())
        changed = dict(tables)
        for table in (*POSITIONS, *SHAPES):
            as_written = list(written(tables, table))
            if any(FROM in values for _, values in as_written):
                entries, more = expanded(table, as_written, drawings)
                faults += more
                changed[table] = entries or None
        for fault in faults:
            self.fault(*fault)
        self.drawn_from = drawings.files
        return changed, drawings

    def _buildings(self, tables: dict[str, Any]) -> list[tuple[str, Building]]:
        """The buildings that are in order by themselves."""
        if tables.get(BUILDING) is None:
            return []
        from survey.inputs.buildings import Building  # noqa: PLC0415  start-up time

        renamed = [
            Placed(place, {"from_" if key == FROM else key: value for key, value in values.items()})
            for place, values in written(tables, BUILDING)
        ]
        return self.entries(tables | {BUILDING: renamed or tables[BUILDING]}, BUILDING, Building)

    def _laid_out(
        self, tables: dict[str, Any], buildings: list[tuple[str, Building]], drawings: Drawings, site: Site | None
    ) -> tuple[dict[str, Any], Layout | None]:
        """The tables with what is written of faces in the old words, and the buildings as faces."""
        as_written = {table: list(written(tables, table)) for table in (*PLACE_KEYS, "roof", BUILDING)}
        if not has_places(as_written):
            return tables, None
        from survey.inputs.places import laid_out  # noqa: PLC0415  start-up time

        sound = {place for place, _ in buildings}
        broken = {name for place, values in as_written[BUILDING] if place not in sound and (name := name_of(values))}
        layout = laid_out(as_written, buildings=buildings, broken=broken, site=site, outline=drawings.outline)
        for fault in layout.faults:
            self.fault(*fault)
        self.drawn_from = drawings.files
        changed = {table: entries for table, entries in layout.tables.items() if entries}
        for table, entries in changed.items():
            self.defaults += [(f"[[{table}]]", key, value) for one in entries for key, value in one.defaults]
        return tables | changed, layout

    def _pieces(
        self, walls: list[tuple[str, Any]], roofs: list[tuple[str, Any]]
    ) -> tuple[list[tuple[str, Wall]], list[tuple[str, Roof]], list[tuple[str, Any]]]:
        """Loose sheets that stand alone, and the obstacles that the others are pieces of."""
        pieces = [(place, one) for place, one in (*walls, *roofs) if one.part_of]
        if not pieces:
            return walls, roofs, []
        from survey.inputs.places import merged  # noqa: PLC0415  start-up time

        try:
            parts = merged(pieces)
        except EntryError as error:
            for place, problem in error.problems:
                self.fault(place, "part_of", problem)
            parts = []
        alone = ([(place, one) for place, one in sheets if not one.part_of] for sheets in (walls, roofs))
        return next(alone), next(alone), list(parts)
