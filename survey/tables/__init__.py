"""What the commands print: results as plain text for a terminal, one file for each command."""

from survey.tables.check import check_text
from survey.tables.compare import compare_table
from survey.tables.dropouts import dropouts_table
from survey.tables.explain import explain_text
from survey.tables.fit import fit_table
from survey.tables.links import link_table
from survey.tables.links_csv import links_csv
from survey.tables.materials import materials_table
from survey.tables.network import network_table
from survey.tables.place import place_table
from survey.tables.plans import plans_table
from survey.tables.sure import sure_text

__all__ = [
    "check_text",
    "compare_table",
    "dropouts_table",
    "explain_text",
    "fit_table",
    "link_table",
    "links_csv",
    "materials_table",
    "network_table",
    "place_table",
    "plans_table",
    "sure_text",
]
