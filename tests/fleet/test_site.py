"""A site and its result as plain values: pickled, as JSON, and from a mapping."""

import json
import pickle
from dataclasses import replace

import pytest
from assessing import finding, outage, visit

from survey.base.errors import SurveyError
from survey.fleet import Assessment, Change, LinkCount, LogSpan, Site, site_of

WHOLE = visit(
    "yard",
    finding(outages=(outage(5.0),)),
    warnings=("a warning",),
    links=LinkCount(gateways=("office",), hold=1, marginal=0, fail=1),
    logged=LogSpan(first="2026-05-11T06:00", last="2026-05-18T06:00", days=7.0, polls=900, missed=70),
    change=Change(action="raise the gateway", kind="height", links=2, hold=1, hold_today=0),
    checksum="abc",
)


def test_all_of_it_comes_back_from_json_and_from_a_pickle():
    assert Assessment.from_dict(json.loads(json.dumps(WHOLE.to_dict()))) == WHOLE
    assert pickle.loads(pickle.dumps(WHOLE)) == WHOLE  # noqa: S301  our own bytes


def test_the_base_folder_is_not_in_the_result():
    moved = replace(WHOLE, site=replace(WHOLE.site, base="/somewhere"))
    assert moved.to_dict() == WHOLE.to_dict()


def test_a_site_may_be_a_mapping():
    assert site_of({"site": "a", "plan": "a.toml", "log": None}) == Site(name="a", plan="a.toml")


@pytest.mark.parametrize(
    ("mapping", "told"),
    [
        ({"site": "a", "plan": "p", "lug": "x"}, 'lug: no such key; did you mean "log"?'),
        ({"site": "a"}, "plan: is missing"),
        ({"plan": "p"}, "site: is missing"),
    ],
)
def test_a_mapping_with_a_slip_is_refused(mapping, told):
    with pytest.raises(SurveyError) as error:
        site_of(mapping)
    assert str(error.value).startswith(told)


def test_a_branch_is_a_file_or_any_other_text():
    assert Site(name="a", plan="p", branch="branches.CSV").branch_file == "branches.CSV"
    assert not Site(name="a", plan="p", branch="north office").branch_file
