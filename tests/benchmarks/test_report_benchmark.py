"""The page of a large site: how long it takes and how large it is."""

import pytest
from places import SITES

from survey.inputs.plan_file import read_plan
from survey.output.report import Stamp, findings_of, html_page
from survey.scene import scene_of

MOST_BYTES = 5_000_000


@pytest.mark.parametrize(("site", "inverters"), [("farm", 40), ("warehouse", 400)])
def test_the_page_of_a_site(benchmark, site, inverters):
    plan = SITES / f"{site}.toml"

    def written():
        stamp = Stamp(version="0", plan=plan.read_bytes(), date="2026-03-05")
        return html_page(findings_of(scene_of(read_plan(plan))), stamp)

    page = benchmark.pedantic(written, rounds=1)
    assert len(page.encode()) < MOST_BYTES
    assert page.count('<details id="b') == inverters
