"""The site with its links for other programs: GeoJSON for maps, CSV for spreadsheets, DXF for drawings."""

from __future__ import annotations

from collections.abc import Callable

from survey.output.export.csv_rows import site_csv
from survey.output.export.dxf import site_dxf
from survey.output.export.geojson import site_geojson
from survey.output.export.site import Exported, exported

WRITERS: dict[str, Callable[[Exported], str]] = {"geojson": site_geojson, "csv": site_csv, "dxf": site_dxf}
"""Each kind of file by its ending: a function of the site that returns the text of the file."""

__all__ = ["WRITERS", "Exported", "exported"]
