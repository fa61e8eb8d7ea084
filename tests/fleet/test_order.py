"""The order of visits, and causes that many sites share at one hour."""

import math

import pytest
from assessing import finding, outage, visit
from hypothesis import given
from hypothesis import strategies as st

from survey.fleet import IN_ORDER, LONGER_LOG, NOT_READ, order_of
from survey.fleet.order import MIN_SITES, _tail


def test_the_most_missed_polls_a_day_times_certainty_come_first():
    order = order_of(
        [
            visit("few", finding(missed_per_day=5.0, certainty=1.0)),
            visit("many, less certain", finding(missed_per_day=20.0, certainty=0.5)),
            visit("two causes", finding(missed_per_day=8.0, certainty=1.0), finding(missed_per_day=4.0, certainty=1.0)),
        ]
    )
    assert [one.assessment.site.name for one in order.visits] == ["two causes", "many, less certain", "few"]
    assert [one.value for one in order.visits] == [12.0, 10.0, 5.0]


def test_other_sites_stand_in_the_order_of_the_table():
    results = [visit(name, state=state, findings=()) for name, state in
               [("d", IN_ORDER), ("c", NOT_READ), ("b", LONGER_LOG), ("a", IN_ORDER)]]  # fmt: skip
    order = order_of(results)
    assert [one.site.name for one in order.in_order] == ["d", "a"]
    assert (len(order.longer_log), len(order.not_read), order.visits) == (1, 1, ())


def network(site, begin_h, **changes):
    cause = {"cause": "gateway or network", "missed": 70, "outages": (outage(begin_h),)}
    return visit(site, finding(**(cause | changes)))


def test_one_cause_at_one_hour_on_many_sites_is_one_line():
    sites = [network(f"s{k}", 35.0 + 0.05 * k) for k in range(12)]
    order = order_of([*sites, network("elsewhere", 80.0)])
    (one,) = order.together
    assert one.cause == "gateway or network"
    assert one.sites == tuple(f"s{k}" for k in range(12))
    assert (one.begin_s, one.missed, one.inverters) == (35 * 3600, 12 * 70, 24)
    assert [visit.assessment.site.name for visit in order.visits] == ["elsewhere"]
    assert [one.site.name for one in order.only_together] == [f"s{k}" for k in range(12)]


def test_what_a_site_has_of_its_own_stays_a_visit():
    own = finding(cause="single unit", missed_per_day=3.0)
    both = finding(cause="gateway or network", missed=140, missed_per_day=20.0, outages=(outage(35.0), outage(100.0)))
    sites = [network(f"s{k}", 35.0) for k in range(12)]
    order = order_of([*sites, visit("more", both, own)])
    (more,) = order.visits
    assert [one.cause for one in more.findings] == ["gateway or network", "single unit"]
    assert (more.findings[0].missed, more.findings[0].missed_per_day) == (70, 10.0)
    assert more.findings[0].outages == (outage(100.0),)


def test_a_few_sites_at_one_hour_or_different_causes_are_no_group():
    assert order_of([network(f"s{k}", 35.0) for k in range(MIN_SITES - 1)]).together == ()
    causes = ["gateway or network", "supply branch"]
    assert order_of([network(f"s{k}", 35.0, cause=causes[k % 2]) for k in range(8)]).together == ()


def test_two_outages_are_two_lines_and_take_no_site_twice():
    order = order_of([network(f"s{k}", 35.0 if k % 2 else 90.0) for k in range(30)])
    assert sorted(len(one.sites) for one in order.together) == [15, 15]
    assert len({name for one in order.together for name in one.sites}) == 30


def test_dawn_is_no_shared_cause():
    """Faults of the night show at dawn, on every day at the same hour: on many sites there are some each morning."""
    sites = [network(f"s{k}", 24.0 * (k % 7) + 6.0 + 0.01 * k, cause="single unit") for k in range(70)]
    assert order_of(sites).together == ()


def test_an_outage_among_the_usual_ones_of_a_large_table_is_found():
    usual = [network(f"u{k}", 6 + (k * 7.3) % 160) for k in range(400)]
    order = order_of([*usual, *(network(f"s{k}", 77.2) for k in range(60))])
    (one,) = order.together
    assert {f"s{k}" for k in range(60)} <= set(one.sites)
    assert len(one.sites) <= 66


@pytest.mark.parametrize(("count", "expected"), [(5, 0.5), (3, 1.0), (40, 10.0)])
def test_the_tail_of_poisson_s_law(count, expected):
    """Against the sum of the terms below; scipy.stats.poisson.sf(4, 0.5) is 1.7212e-04."""
    below = sum(math.exp(-expected) * expected**k / math.factorial(k) for k in range(count))
    assert _tail(count, expected) == pytest.approx(1.0 - below, rel=1e-6, abs=1e-13)
    assert _tail(5, 0.5) == pytest.approx(1.7212e-04, rel=1e-4)


@given(st.lists(st.tuples(st.floats(0.01, 1e4), st.floats(0.01, 1.0)), max_size=30))
def test_every_site_has_one_place(pairs):
    results = [visit(f"s{k}", finding(missed_per_day=a, certainty=b)) for k, (a, b) in enumerate(pairs)]
    order = order_of(results)
    assert sorted(one.assessment.site.name for one in order.visits) == sorted(one.site.name for one in results)
    assert [one.value for one in order.visits] == sorted((one.value for one in order.visits), reverse=True)
