"""Invented roofs without obstacles, for fits to simulated readings."""

import numpy as np

from survey.inputs.plan_file import plan_of
from survey.inputs.readings import Readings
from survey.scene import scene_of


def roof(*, spots=2, columns=8, rows=5, step_m=2.0):
    """An invented roof: 40 inverters and two spots, without obstacles, shadowing of 6 dB over 5 m."""
    end = {"tx_power_dbm": 0.0, "sensitivity_dbm": -130.0}
    return scene_of(
        plan_of(
            {
                "plan_version": 1,
                "site": {"name": "invented roof"},
                "radio": {"frequency_mhz": 2440.0, "inverter": end, "gateway": end},
                "environment": {"shadowing_db": 6.0, "correlation_m": 5.0},
                "array": [
                    {
                        "name": "A",
                        "first": [0.0, 0.0],
                        "height_m": 3.0,
                        "rows": rows,
                        "per_row": columns,
                        "spacing_m": step_m,
                        "row_spacing_m": step_m,
                    }
                ],
                "spot": [
                    {"name": f"s{j}", "at": [-4.0 + 26.0 * j, -3.0 - 14.0 * (j // 2)], "height_m": 2.0}
                    for j in range(spots)
                ],
            },
            file="roof",
        )
    )


def readings_of(inverter, gateway, level_dbm):
    count = len(level_dbm)
    return Readings(
        file="made",
        inverter=np.asarray(inverter, dtype=np.int64),
        gateway=np.asarray(gateway, dtype=np.int64),
        level_dbm=np.asarray(level_dbm, dtype=float),
        tries=np.ones(count, dtype=np.int64),
        lines=np.arange(count) + 2,
    )
