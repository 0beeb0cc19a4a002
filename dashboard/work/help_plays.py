"""What a second builder changes: a first answer at once, all the runs behind it.

What is asked comes before what may be asked next, and a first answer before both: one plays, the others wait.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date

from forecast.questions.crew.shared_draws import CrewOutcome, SharedDraws

FIRST_RUNS = 2_000
_MOST_KEPT = 200
_background = ThreadPoolExecutor(max_workers=2, thread_name_prefix="help")


@dataclass(frozen=True, kw_only=True)
class Help:
    """A second builder: clock hours a week, from which day, whether for two-person tasks only."""

    weekly_hours: float
    from_date: date
    only_two: bool


ALONE: Help | None = None


class _NotNow(Exception):
    """Something was asked; what was played for later is put off."""


@dataclass(kw_only=True)
class HelpPlays:
    """Answers from one set of held draws.

    Attributes
    ----------
    held : of one forecast
    """

    held: SharedDraws
    _whole: dict[Help | None, Future[CrewOutcome]] = field(default_factory=dict)
    _first: dict[Help | None, CrewOutcome] = field(default_factory=dict)
    _asked: list[Help | None] = field(default_factory=list)
    _later: list[Help | None] = field(default_factory=list)
    _plays: bool = False
    _change: threading.Condition = field(default_factory=threading.Condition)
    _first_answers: int = 0

    def look(self, *ways: Help | None) -> tuple[list[CrewOutcome], bool]:
        """How each way goes, all from the same runs, and whether those are all that are held.

        Raises
        ------
        whatever went wrong while all the runs were played
        """
        if self.ready(*ways) or self.held.runs <= FIRST_RUNS:
            return [self._wait(way) for way in ways], True
        with self._before_all_else():
            answers = [self._first_answer(way) for way in ways]
        self._ask(ways)
        return answers, False

    def ready(self, *ways: Help | None) -> bool:
        """Whether all runs of each way are played."""
        with self._change:
            return all(way in self._whole for way in ways)

    def prepare(self, ways: Sequence[Help | None]) -> None:
        """Play what may be asked next; what was to be played before for that reason is not."""
        with self._change:
            self._later[:] = ways
        self._begin()

    def _ask(self, ways: Sequence[Help | None]) -> None:
        with self._change:
            for way in ways:
                if way not in self._whole and way not in self._asked:
                    self._asked.append(way)
        self._begin()

    def _wait(self, way: Help | None) -> CrewOutcome:
        self._ask([way])
        with self._change:
            self._change.wait_for(lambda: way in self._whole)
            answer = self._whole[way]
        return answer.result()

    def _first_answer(self, way: Help | None) -> CrewOutcome:
        if way not in self._first:
            self._first[way] = _play(self.held.first(FIRST_RUNS), way)
            _forget_the_oldest(self._first)
        return self._first[way]

    @contextmanager
    def _before_all_else(self) -> Iterator[None]:
        """While a first answer is played, whatever is played in the background waits."""
        with self._change:
            self._first_answers += 1
        try:
            yield
        finally:
            with self._change:
                self._first_answers -= 1
                self._change.notify_all()

    def _begin(self) -> None:
        """Play all the runs of what was asked, the last asked first; then of what may be asked."""
        with self._change:
            self._later[:] = [way for way in self._later if way not in self._whole]
            waiting = [*reversed(self._asked), *self._later]
            if self._plays or not waiting:
                return
            self._plays, way = True, waiting[0]
        playing = _background.submit(_play, self.held, way, lambda: self._give_way(way))
        playing.add_done_callback(lambda played: self._note(way, played))

    def _note(self, way: Help | None, played: Future[CrewOutcome]) -> None:
        with self._change:
            self._plays = False
            if not isinstance(played.exception(), _NotNow):
                self._whole[way] = played
                _forget_the_oldest(self._whole)
                self._asked[:] = [other for other in self._asked if other != way]
                self._change.notify_all()
        self._begin()

    def _give_way(self, way: Help | None) -> None:
        """Wait while a first answer is played; put off what nobody asked as soon as somebody asks."""
        with self._change:
            self._change.wait_for(lambda: self._first_answers == 0)
            if self._asked and way not in self._asked:
                raise _NotNow


def _play(held: SharedDraws, way: Help | None, between: Callable[[], None] = lambda: None) -> CrewOutcome:
    if way is None:
        return held.alone(between=between)
    return held.with_help(way.weekly_hours, from_date=way.from_date, only_two=way.only_two, between=between)


def _forget_the_oldest(kept: dict[Help | None, CrewOutcome] | dict[Help | None, Future[CrewOutcome]]) -> None:
    """Keep so many answers only, and the one without help."""
    while len(kept) > _MOST_KEPT:
        del kept[next(way for way in kept if way is not None)]


def likely_next(way: Help, *, step: float, least: float, most: float) -> list[Help]:
    """What is asked next more often than not: a step more or less, the other kind of help, either end.

    Examples
    --------
    >>> way = Help(weekly_hours=4.0, from_date=date(2027, 3, 1), only_two=False)
    >>> [(w.weekly_hours, w.only_two) for w in likely_next(way, step=0.5, least=0.5, most=9.0)]
    [(4.5, False), (3.5, False), (4.0, True), (9.0, False), (0.5, False)]
    """
    near, ends = (way.weekly_hours + step, way.weekly_hours - step), (most, least)
    ways = [replace(way, weekly_hours=hours) for hours in (*near, *ends) if least <= hours <= most]
    ways.insert(2, replace(way, only_two=not way.only_two))
    return ways
