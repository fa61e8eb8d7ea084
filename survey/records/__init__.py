"""Results as plain values for JSON, in the shapes that the interface fixes, one file for each command."""

from survey.links import CARRIERS, carried_by
from survey.records.check import check_record
from survey.records.compare import compare_record
from survey.records.dropouts import dropouts_record
from survey.records.explain import explain_record
from survey.records.fit import fit_record
from survey.records.links import link_records, links_record
from survey.records.materials import materials_record
from survey.records.network import network_record, route_record
from survey.records.place import place_record, score_record
from survey.records.plans import plans_record
from survey.records.sure import best_shares, served_record, sure_record
from survey.records.values import Record, plain

__all__ = [
    "CARRIERS",
    "Record",
    "best_shares",
    "carried_by",
    "check_record",
    "compare_record",
    "dropouts_record",
    "explain_record",
    "fit_record",
    "link_records",
    "links_record",
    "materials_record",
    "network_record",
    "place_record",
    "plain",
    "plans_record",
    "route_record",
    "score_record",
    "served_record",
    "sure_record",
]
