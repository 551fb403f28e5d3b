"""A season on a cluster: a real Dask scheduler with two real workers on this machine, one of which is killed."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest
from distributed import Client
from season_farm import add_job, make_farm, poisoned

from coverage_audit.cli.command import main
from coverage_audit.season.cluster import on_cluster
from coverage_audit.season.model import Ended, Limits
from coverage_audit.season.store import AUDIT

TESTS = str(Path(__file__).parents[1])
QUIET = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "start_new_session": True}


class Cluster:
    """Scheduler and workers, each a process of its own."""

    def __init__(self, folder):
        self.file = folder / "scheduler.json"
        self.environment = {**os.environ, "PYTHONPATH": TESTS}
        self.processes = [self.start("scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard")]
        self.workers = [self.worker(), self.worker()]

    def start(self, *arguments):
        """One process of the cluster."""
        command = [sys.executable, "-m", "dask", *arguments, "--scheduler-file", str(self.file)]
        return subprocess.Popen(command, env=self.environment, **QUIET)

    def worker(self):
        """A worker of one thread."""
        process = self.start("worker", "--host", "127.0.0.1", "--nthreads", "1", "--no-dashboard", "--no-nanny")
        self.processes.append(process)
        return process

    def address(self):
        """Address of the scheduler, once both workers are there."""
        wait(lambda: self.file.exists() and self.file.stat().st_size > 0)
        found = json.loads(self.file.read_text(encoding="utf-8"))["address"]
        with Client(found, timeout=60, set_as_default=False) as client:
            client.wait_for_workers(len(self.workers), timeout=120)
        return found

    def end(self):
        """Kill all that is left."""
        for process in self.processes:
            process.kill()
            process.wait()


def wait(there, seconds=120):
    until = time.monotonic() + seconds
    while not there():
        assert time.monotonic() < until, "it never came"
        time.sleep(0.02)


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    found = Cluster(tmp_path_factory.mktemp("cluster"))
    try:
        found.known = found.address()
        yield found
    finally:
        found.end()


def papers(farm):
    return {path.name: path.read_bytes() for path in sorted((farm / "seasons" / "2026").iterdir())}


def test_tasks_that_go_wrong_cost_themselves_alone(cluster, tmp_path):
    """A task that takes its process down is tried three times in all; the workers live on."""
    tally = tmp_path / "tally"
    tasks = ["a", f"kill {tally}", "hang", "raise", "b"]
    found = dict(on_cluster(poisoned, tasks, cluster.known, Limits(20.0, 2**31)))
    assert (found["a"], found["b"]) == ("a", "b")
    kinds = {task: end.kind for task, end in found.items() if isinstance(end, Ended)}
    assert kinds == {tasks[1]: "killed", "hang": "time", "raise": "killed"}
    assert len(tally.read_text(encoding="utf-8")) == 3
    assert all(worker.poll() is None for worker in cluster.workers)


def test_the_ledger_is_the_same_though_a_worker_is_killed(cluster, tmp_path):
    alone, shared = (make_farm(tmp_path / name / "farm") for name in ("alone", "shared"))
    for farm in (alone, shared):
        for day in range(4):
            add_job(farm, f"2026-06-0{day + 1}-lower-meadow", days=2 + day)
    assert main(["season", str(alone), "--quiet", "--workers", "1"]) == 0
    process = subprocess.Popen(
        [sys.executable, "-m", "coverage_audit", "season", str(shared), "--quiet", "--cluster", cluster.known], **QUIET
    )
    wait(lambda: any(shared.glob(f"jobs/*/{AUDIT}")))
    victim = cluster.workers[0]
    wait(lambda: psutil.Process(victim.pid).children(recursive=True))  # it is amid a job
    children = psutil.Process(victim.pid).children(recursive=True)
    os.kill(victim.pid, signal.SIGKILL)
    assert process.wait(timeout=240) == 0
    assert papers(shared) == papers(alone)
    assert not psutil.wait_procs(children, timeout=30)[1]  # nobody goes on for a worker that is gone


def test_an_address_where_nobody_answers_is_one_line(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("coverage_audit.season.cluster.CONNECT_S", 0.5)
    farm = make_farm(tmp_path / "farm")
    add_job(farm, "2026-06-01-lower-meadow", days=2)
    assert main(["season", str(farm), "--cluster", "tcp://127.0.0.1:9"]) == 2
    error = capsys.readouterr().err
    assert "no Dask scheduler answers there" in error
    assert error.count("\n") == 1
    for options in (["--cluster", "127.0.0.1"], ["--cluster", "tcp://127.0.0.1:9", "--workers", "2"]):
        assert main(["season", str(farm), *options]) == 2
