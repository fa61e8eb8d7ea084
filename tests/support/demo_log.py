"""The invented log of the demo site: a week at the farm workshop, for docs/dropouts.md.

Run ``python tests/demo_log.py`` to write sites/farm-week.csv anew. Everything in it is invented: the sun, the weather,
who was heard, and what went wrong. Python's own random numbers are used, which stay the same from version to version.
"""
# ruff: noqa: DTZ001  the site's clock has no zone

from __future__ import annotations

from datetime import datetime, timedelta
from math import cos, pi
from random import Random

from places import SITES

from survey.budget import links_of
from survey.inputs.plan_file import read_plan
from survey.scene import scene_of

FIRST_DAY = datetime(2026, 5, 11)  # a Monday; the site's clock, without a zone
DAYS = 7
STEP = timedelta(minutes=30)
FIRST_HOUR, LAST_HOUR = 5, 21
STRAY = 0.02
TRIPPED = (datetime(2026, 5, 13, 9, 45), datetime(2026, 5, 13, 15, 10))
"""From when to when the breaker of branch B3 (the third row of the south roof) was off."""
UNIT, UNIT_FROM = "S-2-6", datetime(2026, 5, 14, 11, 20)
"""A unit that fell silent, and when."""
CLOUD = (1.0, 0.9, 0.4, 1.0, 0.7, 1.0, 0.8)


def branch_of(inverter: str) -> str:
    """B1 to B3 the rows of the south roof, B4 the lean-to."""
    return "B4" if inverter.startswith("L") else f"B{inverter[2]}"


def demo_log() -> str:
    """The whole file."""
    random = Random(11)  # noqa: S311  no secret
    links = links_of(scene_of(read_plan(SITES / "farm.toml")))
    names = links.inverters.names
    level_dbm = {name: links.uplink_level_dbm[i, 0] + max(-3.0, random.gauss(3.0, 3.0)) for i, name in enumerate(names)}
    margin_db = {name: level_dbm[name] - links.gateways.need_dbm[0] for name in names}
    wakes = {name: 0.06 * random.uniform(0.8, 1.25) for name in names}
    rows = ["time,inverter,gateway,heard,level_dbm,branch"]
    at = FIRST_DAY
    while at < FIRST_DAY + timedelta(days=DAYS):
        if FIRST_HOUR <= at.hour < LAST_HOUR:
            hour = at.hour + at.minute / 60
            light = max(0.0, cos((hour - 12.7) / 15.0 * pi)) * CLOUD[(at - FIRST_DAY).days]
            for name in names:
                up = light > wakes[name] and not (name == UNIT and at >= UNIT_FROM)
                up = up and not (branch_of(name) == "B3" and TRIPPED[0] <= at < TRIPPED[1])
                fade_db = random.gauss(0.0, 3.0)
                heard = random.random() > STRAY and up and margin_db[name] + fade_db > 0
                level = f"{level_dbm[name] + fade_db:.0f}" if heard else ""
                rows.append(f"{at.isoformat(timespec='minutes')},{name},office,{int(heard)},{level},{branch_of(name)}")
        at += STEP
    return "\n".join(rows) + "\n"


if __name__ == "__main__":
    (SITES / "farm-week.csv").write_text(demo_log(), encoding="utf-8")
