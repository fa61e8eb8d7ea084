"""Radios: those of all inverters and gateways, and figures of a single one's own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import Field, dataclass, fields, replace
from typing import Any

from survey.inputs.antennas import KINDS
from survey.inputs.fields import Choice, Entry, Number, key
from survey.inputs.plan.kinds import ANTENNA, EXTRA_LOSS, GAIN, SENSITIVITY, TX_POWER


@dataclass(frozen=True, kw_only=True)
class RadioEnd(Entry):
    """The radio of an inverter or a gateway."""

    tx_power_dbm: float = key(TX_POWER)
    antenna_gain_dbi: float | None = key(GAIN, default=None)
    sensitivity_dbm: float = key(SENSITIVITY)
    mounting_loss_db: float = key(EXTRA_LOSS, default=0.0)
    cable_loss_db: float = key(EXTRA_LOSS, default=0.0)
    noise_rise_db: float = key(EXTRA_LOSS, default=0.0)
    antenna: str = key(ANTENNA, default="isotropic")

    @classmethod
    def default_of(cls, one: Field[Any], given: Mapping[str, object]) -> object:
        """A gain that is left out is the one that the kind of antenna has; a file has its own."""
        if one.name != "antenna_gain_dbi":
            return super().default_of(one, given)
        antenna = given.get("antenna", "isotropic")
        return KINDS[antenna].horizon_dbi if isinstance(antenna, str) and antenna in KINDS else None


@dataclass(frozen=True, kw_only=True)
class Radio(Entry):
    """The radio system as its data sheets describe it."""

    frequency_mhz: float = key(Number(30.0, 30_000.0))
    polarisation: str = key(Choice(("unknown", "vertical", "horizontal")), default="unknown")
    inverter: RadioEnd
    gateway: RadioEnd


@dataclass(frozen=True, kw_only=True)
class OwnRadio(Entry):
    """An entry that may carry radio figures of its own; None where the common one holds."""

    tx_power_dbm: float | None = key(TX_POWER, default=None)
    antenna_gain_dbi: float | None = key(GAIN, default=None)
    sensitivity_dbm: float | None = key(SENSITIVITY, default=None)
    mounting_loss_db: float | None = key(EXTRA_LOSS, default=None)
    cable_loss_db: float | None = key(EXTRA_LOSS, default=None)
    noise_rise_db: float | None = key(EXTRA_LOSS, default=None)
    antenna: str | None = key(ANTENNA, default=None)

    def radio(self, common: RadioEnd) -> RadioEnd:
        """The radio that stands here: the common figures, and its own where given."""
        own = {one.name: getattr(self, one.name) for one in fields(RadioEnd)}
        own = {name: value for name, value in own.items() if value is not None}
        return replace(common, **own) if own else common
