"""Radios as arrays: who stands where, with which power, antenna and losses."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.base.errors import check_names
from survey.inputs.plan import Array, Inverter, OwnRadio, Plan, RadioEnd, Search, Spot


@dataclass(frozen=True, kw_only=True)
class Ends:
    """Radios at one end of the links, inverters or gateways.

    Attributes
    ----------
    names, places, serials, branches : tuple of str
        Name of each; what it belongs to in the plan (its array or search, or its own name); its serial or nothing; its
        supply branch or nothing.
    at_m : ndarray of float, shape (ends, 3)
        Position. [m]
    tx_power_dbm : ndarray of float, shape (ends,)
        Transmit power. [dBm]
    antenna_gain_dbi : ndarray of float, shape (ends,)
        Gain at the horizon, on top of which the pattern comes; 0 where the pattern is that of a whole antenna. [dBi]
    pattern : ndarray of int, shape (ends,)
        Index into the scene's `patterns`; 0 is isotropic.
    loss_db : ndarray of float, shape (ends,)
        Mounting and cable, on the way out and on the way in. [dB]
    need_dbm : ndarray of float, shape (ends,)
        Level that the receiver needs: sensitivity and noise rise. [dBm]
    """

    names: tuple[str, ...]
    places: tuple[str, ...]
    serials: tuple[str, ...]
    branches: tuple[str, ...]
    at_m: FloatArray
    tx_power_dbm: FloatArray
    antenna_gain_dbi: FloatArray
    pattern: IntArray
    loss_db: FloatArray
    need_dbm: FloatArray

    def __len__(self) -> int:
        return len(self.names)

    def pick(self, indices: Sequence[int] | IntArray | slice) -> Ends:
        """Some of them, in the order asked for."""
        chosen = np.arange(len(self))[indices]
        values: dict[str, Any] = {}
        for one in fields(self):
            value = getattr(self, one.name)
            values[one.name] = value[chosen] if isinstance(value, np.ndarray) else tuple(value[i] for i in chosen)
        return Ends(**values)

    def named(self, asked: Sequence[str], *, file: str, what: str) -> Ends:
        """Those of the given names, each once, in the order asked for.

        Raises
        ------
        UnknownNameError
            Naming every name that there is not.
        """
        check_names(asked, self.names, file=file, what=what)
        index = {name: i for i, name in enumerate(self.names)}
        return self.pick([index[name] for name in dict.fromkeys(asked)])


def join(parts: Iterable[Ends]) -> Ends:
    """Several groups of ends as one."""
    groups = list(parts)
    names, places, serials, branches = (
        tuple(text for group in groups for text in getattr(group, field))
        for field in ("names", "places", "serials", "branches")
    )

    def joined(field: str) -> FloatArray:
        return np.concatenate([np.zeros(0), *(getattr(group, field) for group in groups)])

    return Ends(
        names=names,
        places=places,
        serials=serials,
        branches=branches,
        at_m=np.concatenate([np.zeros((0, 3)), *(group.at_m for group in groups)]),
        tx_power_dbm=joined("tx_power_dbm"),
        antenna_gain_dbi=joined("antenna_gain_dbi"),
        pattern=np.concatenate([np.zeros(0, dtype=np.int64), *(group.pattern for group in groups)]),
        loss_db=joined("loss_db"),
        need_dbm=joined("need_dbm"),
    )


def ends_of(plan: Plan, one: OwnRadio, common: RadioEnd) -> Ends:
    """The radios that one entry of a plan stands for.

    Parameters
    ----------
    plan : Plan
        The plan whose antennas they use.
    one : OwnRadio
        The entry: an array, an inverter, a gateway, a spot or a search.
    common : RadioEnd
        What the plan says of that end of all links; what the entry says itself wins.
    """
    radio = one.radio(common)
    serials: tuple[str, ...] = ()
    if isinstance(one, Array):
        name, names, at_m = one.name, one.inverter_names(), one.positions_m()
        serials = one.serials
    elif isinstance(one, Search):
        name, names, at_m = one.name, one.spot_names(), one.positions_m()
    else:
        assert isinstance(one, Inverter | Spot)
        name, names, at_m = one.name, [one.name], np.array([[*one.at, one.height_m]])
        serials = (one.serial,) if isinstance(one, Inverter) else ()
    group = radios_at(plan, radio, at_m)
    count = len(names)
    return replace(
        group,
        names=tuple(names),
        places=(name,) * count,
        serials=serials or ("",) * count,
        branches=(one.branch if isinstance(one, Array | Inverter) else "",) * count,
    )


def radios_at(plan: Plan, radio: RadioEnd, at_m: FloatArray) -> Ends:
    """The same radio at many places, without names.

    Parameters
    ----------
    plan : Plan
        The plan whose antennas the radio names.
    radio : RadioEnd
        The radio.
    at_m : ndarray of float, shape (places, 3)
        The places. [m]
    """
    count = len(at_m)
    return Ends(
        names=("",) * count,
        places=("",) * count,
        serials=("",) * count,
        branches=("",) * count,
        at_m=at_m,
        tx_power_dbm=np.full(count, radio.tx_power_dbm),
        antenna_gain_dbi=np.full(count, plan.patterns[radio.antenna].base_gain_dbi(radio.antenna_gain_dbi)),
        pattern=np.full(count, list(plan.patterns).index(radio.antenna), dtype=np.int64),
        loss_db=np.full(count, radio.mounting_loss_db + radio.cable_loss_db),
        need_dbm=np.full(count, radio.sensitivity_dbm + radio.noise_rise_db),
    )
