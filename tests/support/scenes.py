"""Invented scenes of a real size, the same at every run."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from survey.inputs.plan import (
    Environment,
    Inverter,
    Plan,
    Radio,
    RadioEnd,
    Requirement,
    Search,
    Site,
    Wall,
)


def radio(frequency_mhz: float = 2440.0) -> Radio:
    return Radio(
        frequency_mhz=frequency_mhz,
        inverter=RadioEnd(tx_power_dbm=8.0, sensitivity_dbm=-94.0, mounting_loss_db=6.0),
        gateway=RadioEnd(tx_power_dbm=10.0, antenna_gain_dbi=2.0, sensitivity_dbm=-96.0),
    )


def random_site(*, inverters: int, spots: int, sheets: int, extent_m: float, seed: int = 1, **common) -> Plan:
    """A flat site with short upright walls of every direction, inverters and spots all over it."""
    rng = np.random.default_rng(seed)
    at_m = rng.uniform(0.0, extent_m, (inverters, 2))
    heights_m = rng.uniform(1.0, 6.0, inverters)
    starts_m = rng.uniform(0.0, extent_m, (sheets, 2))
    angles_rad = rng.uniform(0.0, 2.0 * np.pi, sheets)
    lengths_m = rng.uniform(2.0, 12.0, sheets)
    ends_m = starts_m + lengths_m[:, None] * np.column_stack([np.cos(angles_rad), np.sin(angles_rad)])
    tops_m = rng.uniform(2.0, 5.0, sheets)
    side = int(np.ceil(np.sqrt(spots)))
    step_m = extent_m / (side - 1)
    area = ((0.0, 0.0), (extent_m, 0.0), (extent_m, extent_m), (0.0, extent_m))
    return Plan(
        file="invented",
        folder=Path(),
        site=Site(name="invented"),
        radio=radio(),
        environment=Environment(),
        requirement=Requirement(),
        inverters=tuple(
            Inverter(name=f"i{k}", at=tuple(at_m[k].tolist()), height_m=float(heights_m[k])) for k in range(inverters)
        ),
        obstacles=tuple(
            Wall(
                name=f"w{k}",
                along=(tuple(starts_m[k].tolist()), tuple(ends_m[k].tolist())),
                height_m=float(tops_m[k]),
                **(common or {"loss_db": 6.0, "spread_db": 2.0}),
            )
            for k in range(sheets)
        ),
        searches=(Search(name="grid", within=area, heights_m=(2.5,), step_m=step_m),),
    )


def commercial() -> Plan:
    """400 inverters, 2,025 spots, 150 sheets: a warehouse."""
    return random_site(inverters=400, spots=2_000, sheets=150, extent_m=120.0)


def small() -> Plan:
    """A size that costs nothing to run once."""
    return random_site(inverters=30, spots=200, sheets=20, extent_m=40.0)


def large() -> Plan:
    """5,000 inverters, 10,000 spots, 1,000 sheets: 50 million links."""
    return random_site(inverters=5_000, spots=10_000, sheets=1_000, extent_m=600.0)
