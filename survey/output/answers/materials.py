"""The table of materials."""

from __future__ import annotations

from survey.base.layout import Column, paragraphs, table, wrapped
from survey.inputs.materials import Material, foliage_loss
from survey.output.answers.values import Record, plain


def materials_table(materials: list[Material], frequency_mhz: float) -> str:
    """Return what `survey materials` prints: the loss of each material at a frequency, and its source."""
    columns = [
        Column("material", text=True),
        Column("loss dB"),
        Column("uncertainty dB", spare=1),
        Column("status", text=True),
    ]
    rows, sources = [], []
    for material in materials:
        low_mhz, high_mhz = material.range_mhz
        mark = "" if low_mhz <= frequency_mhz <= high_mhz else " *"
        loss = f"{material.loss_db(frequency_mhz):.1f}{mark or '  '}"
        rows.append([material.name, loss, f"{material.spread_db:.1f}", material.status])
        sources.append(wrapped(f"{material.name}: {material.source}", indent="  "))
    notes = (
        "Name a material in the plan, or give your own loss_db. Loss: of one sheet at right angles. * = no figure at "
        "this frequency; taken from another one. Uncertainties are estimates: no published figures were found."
    )
    title = f"Built-in materials at {frequency_mhz:g} MHz"
    foliage = foliage_loss(frequency_mhz)
    plants = (
        f"Trees and hedges in leaf, if [[foliage]] gives no loss_db_per_m: {foliage.loss_db_per_m:.1f} dB for the "
        f"first metre inside, up to {foliage.most_loss_db:.0f} dB in all; uncertainty {foliage.spread_db_per_m:.1f} dB "
        "for the first metre. Source: single trees at 869 MHz, Vogel and Goldhirsh, 1986; the maximum is that of ITU-R "
        "P.833-9. A wood tens of metres deep loses less per metre."
    )
    listing = "Sources\n" + "\n".join(sources)
    return paragraphs(title, table(columns, rows), wrapped(notes), wrapped(plants), listing)


def materials_record(materials: list[Material], frequency_mhz: float) -> Record:
    """Return what `survey materials --json` prints."""
    return {
        "frequency_mhz": plain(frequency_mhz),
        "vegetation": {key: plain(figure) for key, figure in foliage_loss(frequency_mhz)._asdict().items()},
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
