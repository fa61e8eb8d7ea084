"""What one pass through a sheet of each material costs, and where each figure comes from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

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


TREE_LOSS_DB_PER_M, TREE_LOSS_AT_MHZ = 1.8, 869.0
"""Loss of the first metre of a plant in leaf at one frequency. [dB/m; MHz]

Single trees cost 10 to 20 dB at 869 MHz, 12 dB on average (W. J. Vogel and J. Goldhirsh, IEEE Trans. Antennas Propag.
AP-34, 1986, 1460-1464: abstract). Their crowns cost 1.3 dB a metre on average (the same authors, from memory), so 12 dB
stand for 9.2 m; with the most that foliage costs here, that takes 1.8 dB for the first metre."""
TREE_SPREAD = 1.0 / 3.0
"""Standard deviation of a plant's loss, as a share of it: the measured trees lie up to 8 dB above their average of
12 dB, taken as two standard deviations (own judgement). Leaves, rain and a crown drawn too wide come on top."""
MOST_LOSS_DB = ((105.9, 9.4), (466.475, 18.0), (949.0, 26.5), (1852.2, 29.0), (2117.5, 34.1))
"""The most that foliage costs, however long the path inside: frequency [MHz] and loss [dB]. Recommendation
ITU-R P.833-9, section 2.1, its table of measured values."""


class FoliageLoss(NamedTuple):
    """The figures of plants in leaf, by the keys of ``[[foliage]]``.

    Attributes
    ----------
    loss_db_per_m : float
        Loss of the first metre inside. [dB/m]
    most_loss_db : float
        The most that any length costs. [dB]
    spread_db_per_m : float
        Standard deviation of the loss of a metre. [dB/m]
    """

    loss_db_per_m: float
    most_loss_db: float
    spread_db_per_m: float


def foliage_loss(frequency_mhz: float) -> FoliageLoss:
    """Return the figures of a tree, a row of trees or a hedge in leaf, for plants to which the plan gives none.

    Parameters
    ----------
    frequency_mhz : float
        Frequency. [MHz]

    Returns
    -------
    FoliageLoss
        The loss of a metre grows with the square root of frequency, as measured from 870 MHz to 1.5 GHz (J. Goldhirsh
        and W. J. Vogel, from memory). The most is interpolated on logarithms between the frequencies of
        `MOST_LOSS_DB`, and held beyond them.

    Examples
    --------
    >>> [round(figure, 2) for figure in foliage_loss(868.0)]
    [1.8, 25.24, 0.6]
    """
    loss_db_per_m = TREE_LOSS_DB_PER_M * math.sqrt(frequency_mhz / TREE_LOSS_AT_MHZ)
    logarithms = np.log(np.array(MOST_LOSS_DB))
    most_db = float(np.exp(np.interp(math.log(frequency_mhz), logarithms[:, 0], logarithms[:, 1])))
    return FoliageLoss(loss_db_per_m, most_db, TREE_SPREAD * loss_db_per_m)


_P2040 = "ITU-R P.2040-3, slab at normal incidence"
_COMPUTED = "computed from a standard"
_MEMORY = "from memory"
_COX = "Cox, Murray, Norris, Bell Syst. Tech. J. 62(9), 1983, as Rappaport, Wireless Communications, tabulates it"
_COMREG = "ComReg (Ireland), study with Aalborg and Belfast universities, 2018, as reported in the press"


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
        source=f"whole metal building at 815 MHz, doors and windows included: {_COX}; laps and gaps rule, so the "
        "spread is wide",
        status=_MEMORY,
    ),
    Material(
        name="aluminium siding",
        loss_by_mhz=((815.0, 20.4),),
        spread_db=6.0,
        source=f"whole house at 815 MHz, doors and windows included: {_COX}",
        status=_MEMORY,
    ),
    Material(
        name="foil insulation",
        loss_by_mhz=((400.0, 25.0), (2700.0, 25.0)),
        spread_db=10.0,
        source=f"boards without joints, 15 to 60 dB: {_COMREG}. Single walls of energy-efficient houses, up to 35 dB "
        "at 2 GHz: measurements of 2012, abstract",
        status="assumption",
    ),
    _slab("concrete 100 mm", "concrete", 0.1, 3.0),
    _slab("concrete 150 mm", "concrete", 0.15, 3.0),
    _slab("concrete 200 mm", "concrete", 0.2, 4.0),
    Material(
        name="concrete block",
        loss_by_mhz=((915.0, 13.0), (1300.0, 13.0)),
        spread_db=6.0,
        source="Rappaport, Wireless Communications, 2nd ed., example 4.11; the uncertainty covers cavity walls, "
        f"up to 25 dB: {_COMREG}",
        status="published",
    ),
    Material(
        name="flat concrete roof",
        loss_by_mhz=((816.0, 26.0), (3654.0, 26.0)),
        spread_db=7.0,
        source="middle of 12 to 40 dB measured on ten reinforced and covered roofs, Reese et al., 2023, as summarised "
        "elsewhere; openings such as dome lights bring it to nearly 0 dB",
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
        spread_db=8.0,
        source="Transmission Analysis of Energy Saving Glass Windows, IEEE APS 2008: about 30 dB; the uncertainty "
        f"covers modern windows of 15 to 45 dB: {_COMREG}",
        status="published",
    ),
    Material(
        name="tile roof",
        loss_by_mhz=((400.0, 1.0), (868.0, 1.5), (915.0, 1.5), (2500.0, 2.5)),
        spread_db=2.0,
        source="slabs of clay and of concrete of 12 to 16 mm, once and twice for laps, dry, at right angles: ITU-R "
        f"P.2040-3. Roof coverings had only a small effect: {_COMREG}; wet tiles: no source",
        status=_COMPUTED,
    ),
    Material(
        name="pv module",
        loss_by_mhz=((1.0, OPAQUE_LOSS_DB),),
        opaque=True,
        source="no published loss found; taken as a metal sheet, since a cell serves as an antenna's ground plane "
        "(Shynu et al., IEEE Trans. Antennas Propag. 57(12), 2009)",
        status="assumption",
    ),
)
"""Losses with their sources, each in its entry."""

BUILT_IN: Mapping[str, Material] = MappingProxyType({material.name: material for material in _TABLE_OF_MATERIALS})
"""The built-in materials by name. Spreads are judgements; where a source names a range, the spread takes it in as two
standard deviations either side."""
