"""Many sites on a Dask cluster of this machine: the same results as in processes, also if a worker is killed."""

import os
import signal
import time
import warnings

import pytest
from assessing import by_name, sites_in
from many_sites import TABLE, write_sites

import survey
from survey.base.errors import SurveyError
from survey.fleet import IN_ORDER, Limits
from survey.fleet.cluster import on_cluster
from survey.fleet.processes import KILLED
from survey.fleet.work import Task

distributed = pytest.importorskip("distributed", reason="a cluster needs the extra survey[cluster]")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.filterwarnings("ignore"),  # of Dask and its libraries, when they start and end
]
IDLE = 0.3
"""Load of a machine on which nothing else runs."""
MIN_GAIN = 1.6
"""How much faster two workers are than one, at least."""


@pytest.fixture
def cluster():
    """A scheduler with two workers, each a process with one thread."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, scheduler_port=0, silence_logs=50
        ) as made:
            yield made


def test_a_cluster_gives_the_same_results_to_the_last_byte(tmp_path, cluster):
    write_sites(tmp_path, 12, 6)
    files = [tmp_path / f"{name}.jsonl" for name in ("here", "there")]
    here = survey.rounds(tmp_path / TABLE, results=files[0])
    there = survey.rounds(tmp_path / TABLE, results=files[1], on=cluster.scheduler_address)
    assert files[0].read_bytes() == files[1].read_bytes()
    assert here.to_dict() == there.to_dict()
    again = survey.rounds(tmp_path / TABLE, results=files[1], on=cluster.scheduler_address)
    assert again.reused == 12


def test_what_breaks_hangs_or_kills_its_worker_is_told_and_the_rest_is_there(tmp_path, cluster):
    names = ["well a", "break b", "die c", "once d", "hang e", *(f"well {k}" for k in range(20))]
    tasks = [Task(site=site) for site in sites_in(tmp_path, *names)]
    found = list(on_cluster(by_name, tasks, limits=Limits(time_s=3.0), address=cluster.scheduler_address))
    assert sorted(number for number, _ in found) == list(range(len(names))), "each exactly once"
    by = {names[number]: one for number, one in found}
    assert all(by[name].state == IN_ORDER for name in names if name[0] in "wo")
    assert "KeyError" in by["break b"].reason
    assert by["die c"].reason == KILLED
    assert by["hang e"].reason.startswith("took longer than 3 s")


def test_a_worker_that_is_killed_in_the_middle_loses_nothing(tmp_path, cluster):
    write_sites(tmp_path, 40, 10)
    whole = survey.rounds(tmp_path / TABLE, results=tmp_path / "whole.jsonl", workers=2)
    killed = []

    def kill(done, _total):
        if done == 8 and not killed:
            with distributed.Client(cluster.scheduler_address) as client:
                killed.extend(client.run(os.getpid).values())
            os.kill(killed[0], signal.SIGKILL)

    there = survey.rounds(tmp_path / TABLE, results=tmp_path / "r.jsonl", on=cluster.scheduler_address, progress=kill)
    assert killed
    assert [one.to_dict() for one in there.results] == [one.to_dict() for one in whole.results]


def test_two_workers_are_much_faster_than_one(tmp_path):
    """In elapsed time on a machine that is idle before; on a busy one, by the share of the work that each has done."""
    if (os.cpu_count() or 1) < 2:
        pytest.skip("one core cannot be faster with two workers")
    is_idle = os.getloadavg()[0] < IDLE
    write_sites(tmp_path, 80, 8)
    elapsed_s, busiest_s = [], []
    for workers in (1, 2):
        with distributed.LocalCluster(
            n_workers=workers, threads_per_worker=1, dashboard_address=None, scheduler_port=0, silence_logs=50
        ) as made:
            survey.rounds(tmp_path / TABLE, results=tmp_path / "warm.jsonl", on=made.scheduler_address)  # imports
            with distributed.Client(made.scheduler_address) as client:
                before = client.run(time.process_time)
                begin_s = time.monotonic()
                survey.rounds(tmp_path / TABLE, results=tmp_path / "r.jsonl", on=made.scheduler_address, anew=True)
                elapsed_s.append(time.monotonic() - begin_s)
                after = client.run(time.process_time)
            busiest_s.append(max(after[one] - before[one] for one in after))
    assert busiest_s[0] / busiest_s[1] >= MIN_GAIN
    if is_idle:
        assert elapsed_s[0] / elapsed_s[1] >= MIN_GAIN


def test_a_scheduler_that_does_not_answer_is_told(monkeypatch, tmp_path):
    monkeypatch.setattr("survey.fleet.cluster.CONNECT_S", 0.5)
    tasks = [Task(site=site) for site in sites_in(tmp_path, "well a")]
    with pytest.raises(SurveyError, match="no scheduler answers there"):
        list(on_cluster(by_name, tasks, limits=Limits(), address="tcp://127.0.0.1:9"))
