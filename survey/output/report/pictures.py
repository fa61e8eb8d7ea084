"""Pictures inside the page, drawn by matplotlib."""

from __future__ import annotations

import base64
import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING

from survey.budget import Links
from survey.measured.dropouts import Dropouts
from survey.routing import Route

if TYPE_CHECKING:  # heavy
    from matplotlib.figure import Figure


@dataclass(frozen=True, kw_only=True, slots=True)
class Picture:
    """A picture as a data address, its width and height in pixels, and words for readers who cannot see it."""

    address: str
    size: tuple[int, int]
    words: str


def profile(links: Links, route: Route) -> Picture | None:
    """Draw the path of a link from the side and from above; None where no gateway takes its inverter.

    Parameters
    ----------
    links : Links
        All links to the gateways.
    route : Route
        That of the inverter: its first hop to a gateway is drawn as a direct link.
    """
    from survey.output.pictures import profile_picture  # noqa: PLC0415  heavy

    if route.gateway < 0:
        return None
    inverter, gateway = links.inverters.names[route.inverter], links.gateways.names[route.gateway]
    words = f"Path from {inverter} to {gateway}, from the side and from above, with the obstacles in its line."
    return _picture(profile_picture(links, route.inverter, route.gateway), words)


def days(found: Dropouts) -> Picture:
    """Draw the missed polls of a log by day and hour.

    Parameters
    ----------
    found : Dropouts
        What was found in the log.
    """
    from survey.output.pictures import days_picture  # noqa: PLC0415  heavy

    words = "Missed polls by day and hour, each inverter a row, each cause a colour and a mark."
    return _picture(days_picture(found), words)


def _picture(figure: Figure, words: str) -> Picture:
    from survey.output.pictures import as_bytes  # noqa: PLC0415  heavy

    png = as_bytes(figure, "png")
    wide, tall = struct.unpack(">II", png[16:24])  # after its signature and the name of its first chunk
    return Picture(address=f"data:image/png;base64,{base64.b64encode(png).decode()}", size=(wide, tall), words=words)
