"""Many sites: the table that names them, the work on all of them in processes, its results, and their order."""

from survey.fleet.order import Order, Together, Visit, order_of
from survey.fleet.site import (
    IN_ORDER,
    LONGER_LOG,
    NOT_READ,
    VISIT,
    Assessment,
    Change,
    LinkCount,
    LogSpan,
    Outage,
    Site,
    SiteFinding,
    site_of,
)
from survey.fleet.sites_table import Row, SitesTable, read_sites
from survey.fleet.work import Limits

__all__ = [
    "IN_ORDER",
    "LONGER_LOG",
    "NOT_READ",
    "VISIT",
    "Assessment",
    "Change",
    "Limits",
    "LinkCount",
    "LogSpan",
    "Order",
    "Outage",
    "Row",
    "Site",
    "SiteFinding",
    "SitesTable",
    "Together",
    "Visit",
    "order_of",
    "read_sites",
    "site_of",
]
