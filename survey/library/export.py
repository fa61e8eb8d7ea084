"""The site for other programs, as `survey export` writes it."""

from __future__ import annotations

from dataclasses import dataclass

from survey.library.sites import FitSource, Names, PlanSource, names_in, scene_from
from survey.output.export import WRITERS, Exported, exported


@dataclass(frozen=True, kw_only=True)
class SiteExport:
    """A site to be written.

    Attributes
    ----------
    site : Exported
        Its obstacles, devices and links.
    """

    site: Exported

    @property
    def geojson(self) -> str:
        """The site as GeoJSON, where the plan says where on the earth it is."""
        return WRITERS["geojson"](self.site)

    @property
    def csv(self) -> str:
        """Inverters, gateways and spots as rows of a table."""
        return WRITERS["csv"](self.site)

    @property
    def dxf(self) -> str:
        """The site as a drawing; it takes the extra ``drawings``."""
        return WRITERS["dxf"](self.site)


def export(plan: PlanSource, *, gateway: Names = (), fit: FitSource | None = None) -> SiteExport:
    """Work out the site and its links for other programs.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan.
    gateway : str or sequence of str
        Links to these gateways or spots; without any, to the existing gateways.
    fit : str, Path or FittedSite, optional
        What readings have taught.

    Returns
    -------
    SiteExport

    Raises
    ------
    SurveyError
        As the command does.
    """
    return SiteExport(site=exported(scene_from(plan, fit=fit), gateways=names_in(gateway)))
