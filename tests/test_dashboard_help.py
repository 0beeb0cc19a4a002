"""What a second builder changes, in the background of its page: what is asked comes first."""

import threading
import time
from dataclasses import dataclass, field
from datetime import date

import pytest

from dashboard.work import help_queue
from dashboard.work.help_queue import ALONE, FIRST_RUNS, Help, HelpQueue
from tests.dashboard_app import shown, words
from tests.dashboard_build import write_kit

DAY = date(2027, 3, 1)
PATIENCE = 30


@dataclass
class SlowDraws:
    """Stands for held draws: a play of all runs has three parts, and begins each when it is let."""

    runs: int = 5 * FIRST_RUNS
    played: list = field(default_factory=list)
    begun: list = field(default_factory=list)
    go: threading.Event = field(default_factory=threading.Event)
    wrong: Exception | None = None

    def first(self, runs):
        return SlowDraws(runs=runs, played=self.played)

    def alone(self, *, between):
        return self._play("alone", between)

    def with_help(self, weekly_hours, *, from_date, only_two, between):
        return self._play(weekly_hours, between)

    def _play(self, way, between):
        if self.runs > FIRST_RUNS:
            self.begun.append(way)
            assert self.go.wait(PATIENCE)
            for _ in range(3):
                between()
        if self.wrong is not None and self.runs > FIRST_RUNS:
            raise self.wrong
        self.played.append((way, self.runs))
        return way, self.runs


def way(hours):
    return Help(weekly_hours=hours, from_date=DAY, only_two=False)


def until(true):
    end = time.monotonic() + PATIENCE
    while not true():
        assert time.monotonic() < end
        time.sleep(0.01)


def test_a_first_answer_comes_at_once_and_all_runs_follow():
    draws = SlowDraws()
    queue = HelpQueue(draws=draws)
    assert queue.outcomes(ALONE, way(3)) == ([("alone", FIRST_RUNS), (3, FIRST_RUNS)], False)
    assert not queue.ready(ALONE, way(3))
    draws.go.set()
    until(lambda: queue.ready(ALONE, way(3)))
    assert queue.outcomes(ALONE, way(3)) == ([("alone", draws.runs), (3, draws.runs)], True)
    assert sorted(draws.played, key=str) == sorted(
        [("alone", FIRST_RUNS), (3, FIRST_RUNS), ("alone", draws.runs), (3, draws.runs)], key=str
    )


def test_few_runs_are_waited_for():
    draws = SlowDraws(runs=FIRST_RUNS)
    assert HelpQueue(draws=draws).outcomes(ALONE, way(3)) == ([("alone", FIRST_RUNS), (3, FIRST_RUNS)], True)


def test_a_request_preempts_a_likely_one():
    draws = SlowDraws()
    queue = HelpQueue(draws=draws)
    queue.prefetch([way(1), way(2)])
    until(lambda: draws.begun == [1])
    queue.outcomes(way(9))
    draws.go.set()
    until(lambda: queue.ready(way(9), way(1), way(2)))
    assert [w for w, runs in draws.played if runs == draws.runs] == [9, 1, 2]
    assert draws.begun == [1, 9, 1, 2]


def test_a_likely_request_that_becomes_an_actual_one_continues():
    draws = SlowDraws()
    queue = HelpQueue(draws=draws)
    queue.prefetch([way(1)])
    until(lambda: draws.begun == [1])
    queue.outcomes(way(1))
    draws.go.set()
    until(lambda: queue.ready(way(1)))
    assert draws.begun == [1]


def test_the_background_waits_while_a_first_answer_is_played():
    draws = SlowDraws()
    queue = HelpQueue(draws=draws)
    draws.go.set()
    with queue._background_paused():
        queue.prefetch([way(1)])
        until(lambda: draws.begun == [1])
        time.sleep(0.1)
        assert not queue.ready(way(1))
    until(lambda: queue.ready(way(1)))


def test_what_goes_wrong_in_the_background_is_seen_on_the_page():
    draws = SlowDraws(wrong=ZeroDivisionError("a part"))
    queue = HelpQueue(draws=draws)
    queue.outcomes(way(1))
    draws.go.set()
    until(lambda: queue.ready(way(1)))
    with pytest.raises(ZeroDivisionError, match="a part"):
        queue.outcomes(way(1))


def test_the_oldest_answers_are_forgotten_but_not_the_one_without_help(monkeypatch):
    monkeypatch.setattr(help_queue, "_MOST_ANSWERS", 3)
    draws = SlowDraws(runs=FIRST_RUNS)
    queue = HelpQueue(draws=draws)
    for hours in (1, 2, 3, 4):
        queue.outcomes(ALONE, way(hours))
    assert queue.ready(ALONE, way(3), way(4))
    assert not queue.ready(way(1))


def test_the_page_shows_a_preliminary_result_and_then_all_runs(tmp_path, monkeypatch):
    monkeypatch.setattr(help_queue, "FIRST_RUNS", 500)
    folder = write_kit(tmp_path / "kit")
    seen = []
    look = HelpQueue.outcomes

    def watched(self, *ways):
        answers, whole = look(self, *ways)
        seen.append((answers[0].runs, whole))
        return answers, whole

    monkeypatch.setattr(HelpQueue, "outcomes", watched)
    app = shown(folder, "crew", runs=1_000)
    assert seen[0] == (500, False)
    assert seen[-1] == (1_000, True)
    assert "Preliminary result" not in words(app)
