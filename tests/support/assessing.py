"""Sites that work, break, hang or kill their process by their name, for tests of many sites; processes import it."""

import os
import time
from dataclasses import replace
from pathlib import Path

from survey.fleet import IN_ORDER, VISIT, Assessment, Outage, Site, SiteFinding


def by_name(site: Site) -> Assessment:
    """What the first word of a site's name says; each call leaves a line in the file `calls` beside its plan."""
    with (Path(site.plan).parent / "calls").open("a", encoding="utf-8") as file:
        file.write(f"{site.name}\n")
    word = site.name.split()[0]
    if word == "hang":
        time.sleep(60)
    if word == "die" or (word == "once" and calls(site).count(site.name) == 1):
        os._exit(9)
    if word == "break":
        raise KeyError("what no one thought of")
    if word == "grow":
        kept = [bytearray(100_000_000) for _ in range(60)]
        return Assessment(site=site, state=IN_ORDER, inverters=len(kept))
    return Assessment(site=site, state=IN_ORDER, inverters=len(site.name))


def calls(site: Site) -> list[str]:
    return (Path(site.plan).parent / "calls").read_text(encoding="utf-8").splitlines()


def sites_in(folder: Path, *names: str) -> list[Site]:
    """Sites whose plans are there."""
    (folder / "plan.toml").write_text("plan", encoding="utf-8")
    return [Site(name=name, plan=str(folder / "plan.toml")) for name in names]


def finding(**changes) -> SiteFinding:
    one = SiteFinding(
        cause="supply branch", subject="B1", inverters=("i1", "i2"), missed=70, missed_per_day=10.0, certainty=0.9,
        bring="licensed electrician", next=("Look only", "Test the branch"), evidence="two at the same times",
        first="2026-05-11T06:00", last="2026-05-12T06:00",
    )  # fmt: skip
    return replace(one, **changes)


def visit(name: str, *findings: SiteFinding, **changes) -> Assessment:
    values = {"state": VISIT, "inverters": 2, "findings": findings or (finding(),)}
    return Assessment(site=Site(name=name, plan=f"{name}.toml", log=f"{name}.csv"), **(values | changes))


def outage(begin_h: float, hours: float = 2.0, missed: int = 70) -> Outage:
    return Outage(begin_s=int(begin_h * 3600), end_s=int((begin_h + hours) * 3600), missed=missed)
