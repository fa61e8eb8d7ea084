"""Pictures of a site, its coverage, a link's path and budget, and its network: each function returns a `Figure`.

They need matplotlib, so they are imported only where something is drawn. `as_bytes` makes a file of a picture.
"""

from survey.output.pictures.beside import beside_picture
from survey.output.pictures.budget import budget_picture
from survey.output.pictures.coverage import coverage_picture, field_m
from survey.output.pictures.days import days_picture
from survey.output.pictures.network import network_picture
from survey.output.pictures.profile import profile_picture
from survey.output.pictures.sides import sides_picture
from survey.output.pictures.site_map import site_map
from survey.output.pictures.style import as_bytes, missing_letters, pictures_of_width

__all__ = [
    "as_bytes",
    "beside_picture",
    "budget_picture",
    "coverage_picture",
    "days_picture",
    "field_m",
    "missing_letters",
    "network_picture",
    "pictures_of_width",
    "profile_picture",
    "sides_picture",
    "site_map",
]
