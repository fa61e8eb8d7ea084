"""Pictures of a site, its coverage, a link's path and budget, and its network: each function returns a `Figure`.

They need matplotlib, so they are imported only where something is drawn. `as_bytes` makes a file of a picture.
"""

from survey.pictures.budget import budget_picture, budget_steps
from survey.pictures.coverage import coverage_picture, field_m
from survey.pictures.network import network_picture
from survey.pictures.profile import profile_picture
from survey.pictures.site_map import site_map
from survey.pictures.style import as_bytes

__all__ = [
    "as_bytes",
    "budget_picture",
    "budget_steps",
    "coverage_picture",
    "field_m",
    "network_picture",
    "profile_picture",
    "site_map",
]
