"""Many builds: the same answers from every executor, resumed runs, and no builder's words in a job."""

import ast
import csv
import io
import json
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import Future
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from types import ModuleType

import pytest

from forecast.errors import UsageError
from forecast.files.folder import read_build
from forecast.many.answer import BuildAnswer
from forecast.many.answer_cache import AnswerCache, digest_of_files
from forecast.many.builds import ManyBuilds, distinct
from forecast.many.executors import LOST, DaskExecutor, Executor, LocalExecutor, open_executor
from forecast.many.job import Job, run_job, seed_of_build, without_words
from forecast.present.many_builds import table_csv
from forecast.simulate.finish import forecast_finish
from tests.many_builds import QUICK, write_club
from tests.worker_jobs import double, stop_worker_on_seven

DAY = date(2026, 6, 30)
ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def club(tmp_path_factory):
    """Four builds, one of them a folder that is none."""
    place = tmp_path_factory.mktemp("club")
    folders = write_club(place, 3)
    (place / "poisoned").mkdir()
    (place / "poisoned" / "plan.csv").write_bytes(b"\xff\x00\x01 task\n,,\n")
    return [folders[0], place / "poisoned", *folders[1:]]


def run_apart(work, jobs):
    """Answers of two workers, some of which perish, in a process of their own: this one keeps its workers."""
    script = (
        "from forecast.many.executors import LocalExecutor; from tests import worker_jobs\n"
        f"print(dict(LocalExecutor(workers=2).run(worker_jobs.{work}, {jobs!r})))"
    )
    command = [sys.executable, "-c", script]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    return ast.literal_eval(done.stdout)


def run_club(club, cache: Path, executor: Executor) -> list[dict]:
    """The answers to a club, as the contract's JSON has them."""
    many = ManyBuilds(folders=club, as_of=DAY, today=DAY, settings=QUICK, cache=AnswerCache(cache))
    many.run(executor)
    return [answer.to_dict() for answer in many]


@pytest.fixture(scope="module")
def by_one_process(club, tmp_path_factory):
    """The answers of one process, as JSON."""
    return json.dumps(run_club(club, tmp_path_factory.mktemp("cache"), LocalExecutor(workers=1)))


def test_a_poisoned_folder_is_reported_and_stops_no_other(by_one_process):
    builds = json.loads(by_one_process)
    assert [Path(b["folder"]).name for b in builds] == ["kit-0", "poisoned", "kit-1", "kit-2"]
    assert [bool(b["problems"]) for b in builds] == [False, True, False, False]
    assert any("build.toml: is missing" in problem for problem in builds[1]["problems"])
    assert builds[1]["build"] is None
    assert all(b["build"]["person_hours_left"]["p50"] > 0 for b in builds if not b["problems"])


def test_two_processes_answer_to_the_byte_as_one(club, by_one_process, tmp_path):
    assert json.dumps(run_club(club, tmp_path, LocalExecutor(workers=2))) == by_one_process


def test_the_answer_is_that_of_finish_with_the_seed_of_the_build(club, by_one_process):
    said = json.loads(by_one_process)[0]
    assert said["seed"] == seed_of_build(QUICK.seed, digest_of_files(club[0])) != QUICK.seed
    outlook = forecast_finish(read_build(club[0]), DAY, replace(QUICK, seed=said["seed"]))
    assert outlook.to_dict()["build"] == said["build"]


@pytest.fixture
def plain_main(monkeypatch):
    """A main module that new processes need not run: tests of pages leave theirs behind."""
    monkeypatch.setitem(sys.modules, "__main__", ModuleType("__main__"))


@pytest.mark.usefixtures("plain_main")
def test_a_cluster_that_loses_a_worker_answers_to_the_byte_as_one_process(club, by_one_process, tmp_path):
    distributed = pytest.importorskip("distributed")
    killed = []
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address="127.0.0.1:0"
    ) as cluster:

        def kill_one(done: int, total: int) -> None:
            if done == 2 and not killed:
                killed.append(next(iter(cluster.workers.values())).pid)
                os.kill(killed[0], signal.SIGKILL)

        many = ManyBuilds(folders=club, as_of=DAY, today=DAY, settings=QUICK, cache=AnswerCache(tmp_path))
        with open_executor(scheduler=cluster.scheduler_address) as executor:
            many.run(executor, kill_one)
    assert killed
    assert json.dumps([answer.to_dict() for answer in many]) == by_one_process


@pytest.mark.usefixtures("plain_main")
def test_a_cluster_reports_at_once_a_job_that_stops_every_worker():
    """The job must not run in this process either, which would not survive it."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, host="127.0.0.1", dashboard_address="127.0.0.1:0"
    ) as cluster:
        cluster.scheduler.allowed_failures = 0
        with open_executor(scheduler=cluster.scheduler_address) as executor:
            executor.job_timeout = 600.0
            begun = time.monotonic()
            found = dict(executor.run(stop_worker_on_seven, [(n, str(n).encode()) for n in range(6, 9)]))
            # Reported by the cluster, not by waiting for the time-out, however busy the machine is.
            assert time.monotonic() - begun < executor.job_timeout / 2
    assert found.pop(7) == {"failed": LOST}
    assert found == {6: {"twice": 12}, 8: {"twice": 16}}


@pytest.mark.usefixtures("plain_main")
def test_a_cluster_without_workers_is_an_error():
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(n_workers=0, host="127.0.0.1", dashboard_address="127.0.0.1:0") as cluster,
        open_executor(scheduler=cluster.scheduler_address) as executor,
    ):
        executor.worker_timeout = 0.2
        with pytest.raises(UsageError, match="has had no worker for"):
            list(executor.run(double, [(1, b"1")]))


class SilentClient:
    """A client of a cluster with one thread, of which nothing is ever heard."""

    def __init__(self, status="running"):
        self.status, self.cancelled = status, []

    def wait_for_workers(self, n_workers, timeout):
        """There is one."""

    def nthreads(self):
        return {"worker": 1}

    def submit(self, work, data, pure):
        return Future()

    def cancel(self, futures):
        self.cancelled += futures


def test_jobs_that_never_answer_are_given_up_after_a_second_try(monkeypatch):
    monkeypatch.setattr("forecast.many.executors._POLL_SECONDS", 0.01)
    client = SilentClient()
    found = dict(DaskExecutor(client, job_timeout=0.02).run(double, [(n, b"1") for n in range(3)]))
    assert found == dict.fromkeys(range(3), {"failed": LOST})
    assert len(client.cancelled) == 6


def test_a_cluster_that_is_gone_is_an_error():
    with pytest.raises(UsageError, match="the cluster is gone; finished answers are in the cache"):
        list(DaskExecutor(SilentClient(status="closed")).run(double, [(1, b"1")]))


def test_a_killed_worker_costs_no_answer(tmp_path):
    jobs = [(n, f"{n} {tmp_path / 'once' if n == 3 else ''}".strip().encode()) for n in range(8)]
    found = run_apart("stop_worker_once", jobs)
    assert (tmp_path / "once").exists()
    assert found == {n: {"twice": 2 * n} for n in range(8)}


def test_a_job_that_stops_every_worker_is_reported_and_the_others_finish():
    found = run_apart("stop_worker_on_seven", [(n, str(n).encode()) for n in range(5, 11)])
    assert found.pop(7) == {"failed": LOST}
    assert found == {n: {"twice": 2 * n} for n in range(5, 11) if n != 7}


def test_jobs_are_read_as_they_are_needed():
    read = []

    def jobs():
        for n in range(200):
            read.append(n)
            yield n, b"1"

    ahead = [len(read) - done for done, _ in enumerate(LocalExecutor(workers=1).run(double, jobs()))]
    assert max(ahead) <= 8


def test_a_build_that_cannot_be_forecast_is_reported(club):
    job = Job(build=without_words(read_build(club[0])), as_of=None, settings=QUICK, with_summary=False)
    assert run_job(job.packed())["failed"].startswith("could not be forecast (")


class Interrupted(LocalExecutor):
    """An executor that is interrupted after so many answers, and lists the jobs it ran."""

    def __init__(self, after: int | None = None) -> None:
        super().__init__(workers=1)
        self.after, self.given = after, []

    def run(self, work, jobs):
        for number, answer in super().run(work, jobs):
            if len(self.given) == self.after:
                raise KeyboardInterrupt
            self.given.append(number)
            yield number, answer


def test_an_interrupted_run_resumes_and_changed_files_are_forecast_again(tmp_path):
    folders = write_club(tmp_path, 3, tasks=8)
    with pytest.raises(KeyboardInterrupt):
        run_club(folders, tmp_path / "cache", Interrupted(after=1))
    rest = Interrupted()
    first = run_club(folders, tmp_path / "cache", rest)
    assert rest.given == [1, 2]
    nothing = Interrupted()
    assert run_club(folders, tmp_path / "cache", nothing) == first
    assert nothing.given == []
    with (folders[1] / "log.csv").open("a", encoding="utf-8") as log:
        log.write("2026-06-29,,,2,A,,other,general,,,,,\n")
    changed = Interrupted()
    now = run_club(folders, tmp_path / "cache", changed)
    assert changed.given == [1]
    assert [a == b for a, b in zip(now, first, strict=True)] == [True, False, True]


def test_another_day_or_a_damaged_cache_is_forecast_again(tmp_path):
    folders = write_club(tmp_path, 1, tasks=8)
    run_club(folders, tmp_path / "cache", LocalExecutor(workers=1))
    again = Interrupted()
    ManyBuilds(
        folders=folders,
        as_of=DAY - timedelta(days=1),
        today=DAY,
        settings=QUICK,
        cache=AnswerCache(tmp_path / "cache"),
    ).run(again)
    assert again.given == [0]
    (file,) = (tmp_path / "cache").rglob("*.json")
    file.write_text('{"digest": 3', encoding="utf-8")
    damaged = Interrupted()
    assert run_club(folders, tmp_path / "cache", damaged)[0]["build"]
    assert damaged.given == [0]


def test_a_job_contains_none_of_the_builders_words(tmp_path):
    folder = write_marked(tmp_path)
    build = read_build(folder)
    job = Job(build=without_words(build), as_of=DAY, settings=QUICK, with_summary=False)
    travels = job.packed()
    assert b"SECRET" not in travels
    assert str(tmp_path).encode() not in travels
    assert run_job(travels)["build"] == forecast_finish(build, DAY, QUICK).to_dict()["build"]


def write_marked(place: Path) -> Path:
    """A build with a mark in every free text."""
    (folder,) = write_club(place, 1, tasks=8)
    settings = (folder / "build.toml").read_text(encoding="utf-8")
    (folder / "build.toml").write_text(settings.replace("Synthetic 0", "SECRET name"), encoding="utf-8")
    for name, column in (("plan.csv", "title"), ("log.csv", "note"), ("away.csv", "reason")):
        with (folder / name).open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        with (folder / name).open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, rows[0])
            writer.writeheader()
            writer.writerows({**row, column: f"SECRET {i}"} for i, row in enumerate(rows))
    (folder / "log").mkdir()
    (folder / "log.csv").rename(folder / "log" / "SECRET.csv")
    return folder


def test_a_folder_named_twice_is_one_build(tmp_path):
    (folder,) = write_club(tmp_path, 1, tasks=8)
    assert distinct([folder, folder / ".", tmp_path / "x", folder]) == [folder, tmp_path / "x"]


def test_the_csv_table_has_one_row_per_build_and_no_formula(club, tmp_path):
    many = ManyBuilds(folders=club[:2], as_of=DAY, today=DAY, settings=QUICK, cache=AnswerCache(tmp_path))
    many.run(LocalExecutor(workers=1))
    odd = BuildAnswer(folder="=1+1", name="@kit", problems=("is none.",))
    rows = list(csv.DictReader(io.StringIO(table_csv([*many, odd]).decode())))
    assert [Path(row["folder"]).name for row in rows[:2]] == ["kit-0", "poisoned"]
    assert (rows[2]["folder"], rows[2]["name"]) == ("'=1+1", "'@kit")
    assert (rows[0]["as_of"], rows[0]["stage"][:5]) == (DAY.isoformat(), "stage")
    assert "build.toml: is missing" in rows[1]["problems"]
