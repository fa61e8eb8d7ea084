"""Sites that break, hang, grow or kill their process: each costs itself alone; none is lost, none comes twice."""

import multiprocessing
import os
import time

import pytest
from assessing import by_name, calls, sites_in

from survey.fleet import IN_ORDER, NOT_READ, Limits
from survey.fleet.processes import KILLED, in_processes
from survey.fleet.work import Task


def worked_out(sites, *, workers=2, **limits):
    tasks = [Task(site=site) for site in sites]
    found = list(in_processes(by_name, tasks, limits=Limits(**({"time_s": 30.0} | limits)), workers=workers))
    assert sorted(number for number, _ in found) == list(range(len(sites))), "each exactly once"
    return {sites[number].name: one for number, one in found}


def test_every_site_comes_once_whatever_the_others_do(tmp_path):
    names = ["well a", "break b", "die c", "once d", "well e", "well f"]
    found = worked_out(sites_in(tmp_path, *names))
    assert [name for name in names if found[name].state == IN_ORDER] == ["well a", "once d", "well e", "well f"]
    assert "KeyError" in found["break b"].reason
    assert "report it" in found["break b"].reason
    assert found["die c"].reason == KILLED
    counts = calls(sites_in(tmp_path, "any")[0])
    assert counts.count("die c") == counts.count("once d") == 2
    assert counts.count("well a") == 1


def test_a_site_that_hangs_is_stopped_in_time(tmp_path):
    begin = time.monotonic()
    found = worked_out(sites_in(tmp_path, "well a", "hang b", "well c"), time_s=1.0)
    assert time.monotonic() - begin < 25
    assert (found["well a"].state, found["well c"].state) == (IN_ORDER, IN_ORDER)
    assert found["hang b"].reason == "took longer than 1 s and was stopped; give it more with --limit-s"


@pytest.mark.skipif(not os.path.exists("/proc/self/statm"), reason="memory is limited on Linux only")  # noqa: PTH110
def test_a_site_that_needs_too_much_memory_is_told(tmp_path):
    found = worked_out(sites_in(tmp_path, "grow a", "well b"), memory_mb=200.0, workers=1)
    assert found["grow a"].reason == "needs more than 200 MB of memory; give it more with --limit-mb"
    assert found["well b"].state == IN_ORDER


def test_a_worker_that_is_killed_from_outside_loses_nothing(tmp_path):
    tasks = [Task(site=site) for site in sites_in(tmp_path, *(f"well {k}" for k in range(40)))]
    found = []
    for number, one in in_processes(by_name, tasks, limits=Limits(), workers=2):
        found.append((number, one.state))
        if len(found) in {5, 20}:
            multiprocessing.active_children()[0].kill()
    assert sorted(found) == [(k, IN_ORDER) for k in range(40)]


def test_a_file_that_is_too_large_is_not_read(tmp_path):
    (tmp_path / "log.csv").write_bytes(b"x" * 3_000_000)
    site = sites_in(tmp_path, "well a")[0]
    site = type(site)(name=site.name, plan=site.plan, log=str(tmp_path / "log.csv"))
    found = worked_out([site], memory_mb=5.0)["well a"]
    assert found.state == NOT_READ
    assert found.reason.endswith(
        "has 3 MB and needs some 8 MB of memory; the limit is 5 MB, give it more with --limit-mb"
    )
    assert not (tmp_path / "calls").exists()
