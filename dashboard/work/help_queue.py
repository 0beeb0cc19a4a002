"""What a second builder changes: a preliminary answer at once, all the runs in the background.

Preliminary answers come first, then what was requested, then what is likely to be requested next; one
simulation runs at a time, because two would only slow each other down.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date

from forecast.questions.crew.shared_draws import CrewOutcome, SharedDraws

FIRST_RUNS = 2_000  # simulated in well under a second on a large build
_MOST_ANSWERS = 200
_background = ThreadPoolExecutor(max_workers=2, thread_name_prefix="help")


@dataclass(frozen=True, kw_only=True)
class Help:
    """A second builder.

    Attributes
    ----------
    weekly_hours : clock hours per week
    from_date : the first day
    only_two : whether they help with two-person tasks only
    """

    weekly_hours: float
    from_date: date
    only_two: bool


ALONE: Help | None = None


class _Preempted(Exception):
    """A likely request was interrupted by an actual one."""


@dataclass(kw_only=True)
class HelpQueue:
    """Answers simulated from one set of shared draws.

    Attributes
    ----------
    draws : of one forecast
    """

    draws: SharedDraws
    _answers: dict[Help | None, Future[CrewOutcome]] = field(default_factory=dict)
    _preliminary: dict[Help | None, CrewOutcome] = field(default_factory=dict)
    _requested: list[Help | None] = field(default_factory=list)
    _likely: list[Help | None] = field(default_factory=list)
    _busy: bool = False
    _changed: threading.Condition = field(default_factory=threading.Condition)
    _preliminary_running: int = 0

    def outcomes(self, *options: Help | None) -> tuple[list[CrewOutcome], bool]:
        """The outcome under each option, all from the same runs, and whether those are all the runs.

        Raises
        ------
        whatever the simulation of all the runs raised
        """
        if self.ready(*options) or self.draws.runs <= FIRST_RUNS:
            return [self._wait(option) for option in options], True
        with self._background_paused():
            answers = [self._preliminary_answer(option) for option in options]
        self._request(options)
        return answers, False

    def ready(self, *options: Help | None) -> bool:
        """Whether all runs of each option are simulated."""
        with self._changed:
            return all(option in self._answers for option in options)

    def prefetch(self, options: Sequence[Help | None]) -> None:
        """Simulate what is likely to be requested next; earlier such options are dropped."""
        with self._changed:
            self._likely[:] = options
        self._start_next()

    def _request(self, options: Sequence[Help | None]) -> None:
        with self._changed:
            for option in options:
                if option not in self._answers and option not in self._requested:
                    self._requested.append(option)
        self._start_next()

    def _wait(self, option: Help | None) -> CrewOutcome:
        self._request([option])
        with self._changed:
            self._changed.wait_for(lambda: option in self._answers)
            answer = self._answers[option]
        return answer.result()

    def _preliminary_answer(self, option: Help | None) -> CrewOutcome:
        if option not in self._preliminary:
            self._preliminary[option] = _simulate(self.draws.first(FIRST_RUNS), option)
            _drop_oldest(self._preliminary)
        return self._preliminary[option]

    @contextmanager
    def _background_paused(self) -> Iterator[None]:
        with self._changed:
            self._preliminary_running += 1
        try:
            yield
        finally:
            with self._changed:
                self._preliminary_running -= 1
                self._changed.notify_all()

    def _start_next(self) -> None:
        """Simulate the newest request; without one, what is likely to be requested."""
        with self._changed:
            self._likely[:] = [option for option in self._likely if option not in self._answers]
            waiting = [*reversed(self._requested), *self._likely]
            if self._busy or not waiting:
                return
            self._busy, option = True, waiting[0]
        running = _background.submit(_simulate, self.draws, option, lambda: self._give_way(option))
        running.add_done_callback(lambda done: self._store(option, done))

    def _store(self, option: Help | None, done: Future[CrewOutcome]) -> None:
        with self._changed:
            self._busy = False
            if not isinstance(done.exception(), _Preempted):
                self._answers[option] = done
                _drop_oldest(self._answers)
                self._requested[:] = [other for other in self._requested if other != option]
                self._changed.notify_all()
        self._start_next()

    def _give_way(self, option: Help | None) -> None:
        """Pause for preliminary answers; stop a likely request as soon as there is an actual one."""
        with self._changed:
            self._changed.wait_for(lambda: self._preliminary_running == 0)
            if self._requested and option not in self._requested:
                raise _Preempted


def _simulate(
    draws: SharedDraws, option: Help | None, between: Callable[[], None] = lambda: None
) -> CrewOutcome:
    if option is None:
        return draws.alone(between=between)
    return draws.with_help(
        option.weekly_hours, from_date=option.from_date, only_two=option.only_two, between=between
    )


def _drop_oldest(answers: dict[Help | None, CrewOutcome] | dict[Help | None, Future[CrewOutcome]]) -> None:
    """Limit the number of answers; the one without help, which every page needs, stays."""
    while len(answers) > _MOST_ANSWERS:
        del answers[next(option for option in answers if option is not None)]


def likely_next(option: Help, *, step: float, least: float, most: float) -> list[Help]:
    """What is likely to be requested next: a step more or less, the other kind of help, either end.

    Parameters
    ----------
    option : the current request
    step, least, most : of the slider of hours per week

    Examples
    --------
    >>> option = Help(weekly_hours=4.0, from_date=date(2027, 3, 1), only_two=False)
    >>> [(o.weekly_hours, o.only_two) for o in likely_next(option, step=0.5, least=0.5, most=9.0)]
    [(4.5, False), (3.5, False), (4.0, True), (9.0, False), (0.5, False)]
    """
    near, ends = (option.weekly_hours + step, option.weekly_hours - step), (most, least)
    options = [replace(option, weekly_hours=hours) for hours in (*near, *ends) if least <= hours <= most]
    options.insert(2, replace(option, only_two=not option.only_two))
    return options
