"""What the commands print: results as plain text for a terminal, one file for each command."""

from survey.tables.check import check_text
from survey.tables.compare import compare_table
from survey.tables.dropouts import dropouts_table
from survey.tables.links import link_table
from survey.tables.materials import materials_table
from survey.tables.network import network_table
from survey.tables.place import place_table

__all__ = [
    "check_text",
    "compare_table",
    "dropouts_table",
    "link_table",
    "materials_table",
    "network_table",
    "place_table",
]
