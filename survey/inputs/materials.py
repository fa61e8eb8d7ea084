"""What one pass through a sheet of each material costs, and where each figure comes from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType

from survey.inputs.slab import SUBSTANCES, slab_loss_db

OPAQUE_LOSS_DB = 60.0
"""A working cap for metal that lets nothing through: loss is then set by the ways around it. Not a published figure:
by P.2040-3 five micrometres of metal already give 80 dB, and at 60 dB what leaks is lost beside what goes around."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Material:
    """A material, as the plan names it.

    Attributes
    ----------
    name : str
        Name in the plan.
    loss_by_mhz : tuple of (float, float)
        Frequency [MHz] and loss [dB], rising in frequency; or else
    slab, thickness_m : str, float
        A substance of `survey.inputs.slab` and its thickness. [m]
    spread_db : float
        Standard deviation of the loss from one building to the next. [dB]
    opaque : bool
        Lets nothing through that counts.
    source, status : str
        Where the figure comes from, and how far it can be trusted: ``published``, ``computed from a standard``,
        ``common practice``, ``from memory``, ``assumption`` or, for the user's own, ``from the plan``.
    """

    name: str
    loss_by_mhz: tuple[tuple[float, float], ...] = ()
    slab: str = ""
    thickness_m: float = math.nan
    spread_db: float = 0.0
    opaque: bool = False
    source: str
    status: str

    @property
    def range_mhz(self) -> tuple[float, float]:
        """The frequencies for which the figure is good. [MHz]"""
        if self.slab:
            return SUBSTANCES[self.slab].low_mhz, SUBSTANCES[self.slab].high_mhz
        if self.opaque or self.status == "from the plan":
            return 0.0, math.inf
        return self.loss_by_mhz[0][0], self.loss_by_mhz[-1][0]

    def loss_db(self, frequency_mhz: float) -> float:
        """Loss of one pass, square on.

        Parameters
        ----------
        frequency_mhz : float
            Frequency. [MHz]

        Returns
        -------
        float
            Loss; between two given frequencies it is interpolated over the logarithm of frequency, beyond the last
            it stays. [dB]

        Examples
        --------
        >>> round(BUILT_IN["concrete 200 mm"].loss_db(2440.0), 3)
        14.764
        >>> BUILT_IN["coated glass"].loss_db(868.0)
        30.0
        """
        if self.slab:
            substance = SUBSTANCES[self.slab]
            return float(slab_loss_db(substance, thickness_m=self.thickness_m, frequency_mhz=frequency_mhz)[0])
        points = self.loss_by_mhz
        if frequency_mhz <= points[0][0]:
            return points[0][1]
        for (low_mhz, low_db), (high_mhz, high_db) in pairwise(points):
            if frequency_mhz <= high_mhz:
                share = math.log(frequency_mhz / low_mhz) / math.log(high_mhz / low_mhz)
                return low_db + share * (high_db - low_db)
        return points[-1][1]


VEGETATION = (
    (105.9, 0.04, 9.4),
    (466.475, 0.12, 18.0),
    (949.0, 0.17, 26.5),
    (1852.2, 0.30, 29.0),
    (2117.5, 0.34, 34.1),
)
"""Woodland in leaf: frequency [MHz], loss of a metre of path inside [dB/m], and the most that any length costs [dB].
Recommendation ITU-R P.833-9, section 2.1, its table of measured values."""


def vegetation_loss(frequency_mhz: float) -> tuple[float, float]:
    """What plants in leaf cost where the plan does not say.

    Parameters
    ----------
    frequency_mhz : float
        Frequency. [MHz]

    Returns
    -------
    tuple of float
        Loss of a metre of path inside [dB/m], and the most that any length of it costs [dB]; between the frequencies
        of `VEGETATION` interpolated on logarithms of both, beyond them held.

    Examples
    --------
    >>> [round(figure, 3) for figure in vegetation_loss(868.0)]
    [0.163, 25.243]
    """
    points = VEGETATION
    frequency_mhz = min(max(frequency_mhz, points[0][0]), points[-1][0])
    for (low_mhz, *low), (high_mhz, *high) in pairwise(points):
        if frequency_mhz <= high_mhz:
            share = math.log(frequency_mhz / low_mhz) / math.log(high_mhz / low_mhz)
            return low[0] * (high[0] / low[0]) ** share, low[1] * (high[1] / low[1]) ** share
    return points[-1][1], points[-1][2]


_P2040 = "ITU-R P.2040-3, slab at normal incidence"
_COMPUTED = "computed from a standard"
_MEMORY = "from memory"
_TABLE = "loss table in Rappaport, Wireless Communications, 2nd ed., at 815 MHz"


def _slab(name: str, slab: str, thickness_m: float, spread_db: float) -> Material:
    return Material(name=name, slab=slab, thickness_m=thickness_m, spread_db=spread_db, source=_P2040, status=_COMPUTED)


_TABLE_OF_MATERIALS = (
    Material(
        name="welded steel",
        loss_by_mhz=((1.0, OPAQUE_LOSS_DB),),
        opaque=True,
        source="working cap: a few micrometres of metal give 80 dB by ITU-R P.2040-3",
        status="assumption",
    ),
    Material(
        name="steel cladding",
        loss_by_mhz=((815.0, 26.0),),
        spread_db=8.0,
        source=f"all-metal partition, {_TABLE}; laps and gaps rule, so the spread is wide",
        status=_MEMORY,
    ),
    Material(name="aluminium siding", loss_by_mhz=((815.0, 20.4),), spread_db=6.0, source=_TABLE, status=_MEMORY),
    Material(
        name="foil insulation",
        loss_by_mhz=((815.0, 3.9),),
        spread_db=4.0,
        source=f"foil-faced insulation as built, {_TABLE}",
        status=_MEMORY,
    ),
    _slab("concrete 100 mm", "concrete", 0.1, 3.0),
    _slab("concrete 150 mm", "concrete", 0.15, 3.0),
    _slab("concrete 200 mm", "concrete", 0.2, 4.0),
    Material(
        name="concrete block",
        loss_by_mhz=((915.0, 13.0), (1300.0, 13.0)),
        spread_db=3.0,
        source="Rappaport, Wireless Communications, 2nd ed., example 4.11",
        status="published",
    ),
    _slab("brick 110 mm", "brick", 0.11, 2.0),
    _slab("brick 220 mm", "brick", 0.22, 3.0),
    _slab("plasterboard 12.5 mm", "plasterboard", 0.0125, 1.0),
    _slab("plasterboard 25 mm", "plasterboard", 0.025, 1.0),
    _slab("timber 20 mm", "wood", 0.02, 1.0),
    _slab("timber 50 mm", "wood", 0.05, 1.0),
    _slab("chipboard 18 mm", "chipboard", 0.018, 1.0),
    _slab("glass 4 mm", "glass", 0.004, 1.0),
    _slab("glass 6 mm", "glass", 0.006, 1.0),
    Material(
        name="coated glass",
        loss_by_mhz=((800.0, 30.0), (6000.0, 30.0)),
        spread_db=5.0,
        source="Transmission Analysis of Energy Saving Glass Windows, IEEE APS 2008: about 30 dB",
        status="published",
    ),
    Material(
        name="tile roof",
        loss_by_mhz=((2440.0, 5.0),),
        spread_db=3.0,
        source="hobby list, 2003, unmeasured by its author: 5 dB dry, 11 dB wet; weak evidence",
        status="common practice",
    ),
    Material(
        name="pv module",
        loss_by_mhz=((1.0, OPAQUE_LOSS_DB),),
        opaque=True,
        source="no published figure found; frame, cells and contacts taken as a metal sheet",
        status="assumption",
    ),
)
"""Losses with their sources, each in its entry."""

BUILT_IN: Mapping[str, Material] = MappingProxyType({material.name: material for material in _TABLE_OF_MATERIALS})
"""The built-in materials by name. Spreads are judgements (from memory), for want of published ones."""
