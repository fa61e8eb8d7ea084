"""Materials as plain values."""

from __future__ import annotations

from survey.materials import Material, vegetation_loss
from survey.records.values import Record, plain


def materials_record(materials: list[Material], frequency_mhz: float) -> Record:
    """What `survey materials --json` prints."""
    return {
        "frequency_mhz": plain(frequency_mhz),
        "vegetation": dict(zip(("loss_db_per_m", "most_loss_db"), plain(vegetation_loss(frequency_mhz)), strict=True)),
        "materials": [
            {
                "name": material.name,
                "loss_db": plain(material.loss_db(frequency_mhz)),
                "spread_db": plain(material.spread_db),
                "opaque": material.opaque,
                "source": material.source,
                "status": material.status,
            }
            for material in materials
        ],
    }
