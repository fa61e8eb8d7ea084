"""The table of materials."""

from __future__ import annotations

from survey.layout import Column, paragraphs, table, wrapped
from survey.materials import Material, vegetation_loss


def materials_table(materials: list[Material], frequency_mhz: float) -> str:
    """Materials with their loss at a frequency, and where it comes from."""
    columns = [Column("material", text=True), Column("loss dB"), Column("spread dB"), Column("status", text=True)]
    rows, sources = [], []
    for material in materials:
        low_mhz, high_mhz = material.range_mhz
        mark = "" if low_mhz <= frequency_mhz <= high_mhz else " *"
        loss = f"{material.loss_db(frequency_mhz):.1f}{mark or '  '}"
        rows.append([material.name, loss, f"{material.spread_db:.1f}", material.status])
        sources.append(wrapped(f"{material.name}: {material.source}", indent="  "))
    notes = (
        "Loss of one pass, square on. * = outside the frequencies for which the figure was found. Spreads are "
        "judgements, for want of published figures. Name a material in the plan, or give your own loss_db."
    )
    title = f"Built-in materials at {frequency_mhz:g} MHz"
    per_metre_db, most_db = vegetation_loss(frequency_mhz)
    plants = (
        f"Plants in leaf, where [[foliage]] gives no loss_db_per_m: {per_metre_db:.2f} dB for each metre inside, at "
        f"most {most_db:.0f} dB (ITU-R P.833-9, woodland)."
    )
    listing = "Sources\n" + "\n".join(sources)
    return paragraphs(title, table(columns, rows), wrapped(notes), wrapped(plants), listing)
