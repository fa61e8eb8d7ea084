"""Figures used outside the frequencies for which they were found, and radios above the usual limits."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from survey.decisions.inspection.wording import listed
from survey.inputs.materials import BUILT_IN
from survey.inputs.plan import OwnRadio, Plan, RadioEnd

MAX_STRETCH = 1.2
"""A figure found at one frequency may be used this many times above or below it without a warning: a judgement."""
RADIATING = ("tx_power_dbm", "antenna_gain_dbi", "antenna")
"""The figures of a radio that say what it radiates."""


@dataclass(frozen=True, kw_only=True)
class RadiatedLimit:
    """A usual limit of radiated power in one band: a reminder for the installer, never a verdict."""

    low_mhz: float
    high_mhz: float
    eirp_dbm: float
    rule: str


RADIATED_LIMITS = (
    RadiatedLimit(low_mhz=2400.0, high_mhz=2483.5, eirp_dbm=20.0, rule="ETSI EN 300 328"),
    RadiatedLimit(low_mhz=2400.0, high_mhz=2483.5, eirp_dbm=36.0, rule="FCC 47 CFR 15.247"),
    RadiatedLimit(low_mhz=902.0, high_mhz=928.0, eirp_dbm=36.0, rule="FCC 47 CFR 15.247"),
    RadiatedLimit(low_mhz=868.0, high_mhz=868.6, eirp_dbm=16.13, rule="ETSI EN 300 220 (25 mW e.r.p.)"),
    RadiatedLimit(low_mhz=869.4, high_mhz=869.65, eirp_dbm=29.14, rule="ETSI EN 300 220 (500 mW e.r.p.)"),
    RadiatedLimit(low_mhz=433.05, high_mhz=434.79, eirp_dbm=12.15, rule="ETSI EN 300 220 (10 mW e.r.p.)"),
)
"""ERC Recommendation 70-03 and 47 CFR 15.247(b); an e.r.p. is 2.15 dB lower than the e.i.r.p. it stands for."""


def material_warnings(plan: Plan) -> Iterator[str]:
    """Yield figures used outside their frequencies, and built-in names that the plan takes over."""
    frequency_mhz = plan.radio.frequency_mhz
    stretched: dict[str, list[str]] = {}
    for name in sorted({one.made_of.casefold() for one in plan.obstacles if not one.has_own_loss}):
        low_mhz, high_mhz = plan.materials[name].range_mhz
        stretch = MAX_STRETCH if low_mhz == high_mhz else 1.0
        if not low_mhz / stretch <= frequency_mhz <= high_mhz * stretch:
            bound = f"at {low_mhz:g} MHz" if low_mhz == high_mhz else f"from {low_mhz:g} to {high_mhz:g} MHz"
            stretched.setdefault(bound, []).append(name)
    for bound, names in stretched.items():
        yield (
            f"loss of {listed(names)}: found {bound}, used at {frequency_mhz:g} MHz; take a reading, or give your "
            "own loss_db"
        )
    for own in plan.own_materials:
        if own.name.casefold() in BUILT_IN:
            yield f'[[material]] "{own.name}" takes the place of the built-in one of that name'


def radiated_warnings(plan: Plan) -> Iterator[str]:
    """Yield radios that radiate more than the usual limit of their band."""
    limits = [one for one in RADIATED_LIMITS if one.low_mhz <= plan.radio.frequency_mhz <= one.high_mhz]
    radios: list[tuple[str, RadioEnd]] = [
        ("[radio.inverter]", plan.radio.inverter),
        ("[radio.gateway]", plan.radio.gateway),
    ]
    owners: list[tuple[OwnRadio, RadioEnd]] = [
        *((one, plan.radio.inverter) for one in (*plan.arrays, *plan.inverters)),
        *((one, plan.radio.gateway) for one in (*plan.gateways, *plan.spots, *plan.searches)),
    ]
    for one, common in owners:
        own = one.radio(common)
        if any(getattr(own, name) != getattr(common, name) for name in RADIATING):
            radios.append((f'"{getattr(one, "name", "")}"', own))
    for place, radio in radios:
        eirp_dbm = _eirp_dbm(plan, radio)
        for limit in limits:
            if eirp_dbm > limit.eirp_dbm + 1e-9:
                yield (
                    f"{place}: {eirp_dbm:.2f} dBm e.i.r.p. (power plus antenna gain) is above the "
                    f"{limit.eirp_dbm:g} dBm usual under {limit.rule}; which limit holds is for the local radio rules "
                    "to say: look it up"
                )


def _eirp_dbm(plan: Plan, radio: RadioEnd) -> float:
    """What a radio radiates in the direction in which its antenna is strongest. [dBm]"""
    return radio.tx_power_dbm + plan.patterns[radio.antenna].peak_gain_dbi(radio.antenna_gain_dbi)
