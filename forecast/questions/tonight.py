"""What to do tonight: which tasks are ready, the chance of finishing each, and a plan for the evening.

The chance of finishing a task is the share of draws in which its first-time hours left fit into the session.
A `one` task takes one person whoever is present, a `two` task two people at once; two who share an `either`
task need more person-hours for it, by the penalty learned from the log.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from forecast.errors import UsageError
from forecast.files.plan import Task
from forecast.quantiles import sample_quantiles
from forecast.questions.readiness import Readiness, Wait, readiness, title_of
from forecast.random_streams import TONIGHT, stream
from forecast.simulate.finish import simulate_what_ifs
from forecast.simulate.fitted import Fitted
from forecast.simulate.network import criticality_of_tasks
from forecast.simulate.settings import Settings
from forecast.simulate.what_if import BASELINE
from forecast.wording import format_day, format_days

if TYPE_CHECKING:
    from forecast.simulate.runs import SimulatedBatch

USUAL_HOURS = 2.5  # of a session where no log says better: median of real logs, measured by the authors
# Standard errors: 0.8 % of a chance, 2.9 % of a criticality.
_DRAWS = 4_000
_TRACED_RUNS = 300
# All other figures are judgement: how long a type of work stays fresh, the shortest time worth starting a
# task for, the criticality worth a reason, and the points of each reason.
_FRESH_DAYS = 10
_WORTH_STARTING_HOURS = 0.5
_CRITICAL = 0.25
_TWO_HERE, _PREPARES, _DATE, _UNDER_WAY, _FRESH, _HOLD = 3.0, 2.0, 2.0, 1.5, 1.0, 1.0


@dataclass(frozen=True, kw_only=True)
class Ready:
    """A task that could be done tonight.

    Attributes
    ----------
    task : a row of the plan
    hands : how many of the people present it takes
    session_hours : clock hours of the session
    hours_left : (draw,) person-hours left for one person alone, or for the two of a `two` task
    shared_penalty : person-hours of two who share it, as a multiple of those of one alone
    why_ready : in words
    frees : ids of the tasks that wait for it only
    criticality : share of the runs in which it is on the critical chain of the build
    reasons : reasons to do it tonight, in words, in descending order of weight
    points : their total weight
    """

    task: Task
    hands: int
    session_hours: float
    hours_left: np.ndarray
    shared_penalty: float
    why_ready: str
    frees: tuple[str, ...]
    criticality: float
    reasons: tuple[str, ...] = ()
    points: float = 0.0

    def person_hours(self, hands: int) -> np.ndarray:
        """(draw,) person-hours left when `hands` people work on it."""
        shared = hands > 1 and self.task.crew == "either"
        return self.hours_left * self.shared_penalty if shared else self.hours_left

    def chance(self, hours: float, hands: int) -> float:
        """The chance that `hands` people finish it within `hours` clock hours."""
        return chance_of_finishing(self.person_hours(hands), hours, hands)

    @property
    def expected_hours(self) -> dict[str, float]:
        """Quantiles of the person-hours left with tonight's people."""
        return sample_quantiles(self.person_hours(self.hands))

    @property
    def probability_done(self) -> float:
        """The chance of finishing it when the whole session is spent on it."""
        return self.chance(self.session_hours, self.hands)


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Part of the evening: who works on what, from which hour of the session, for about how many hours."""

    ready: Ready
    people: tuple[str, ...]
    begin: float
    hours: float

    @property
    def probability_done(self) -> float:
        """The chance of finishing the task when they work on it until the session ends."""
        return self.ready.chance(self.ready.session_hours - self.begin, len(self.people))


@dataclass(frozen=True, kw_only=True)
class Tonight:
    """The answer for one evening.

    Attributes
    ----------
    as_of : the day of the session
    hours : its length in clock hours
    people : who is present
    tasks : every ready task, in descending order of points
    suggestion : a plan for the evening, nobody in two places at once
    waiting : (task, the one thing that it waits for) of the nearly ready tasks, in plan order
    notes : what a reader must know, in sentences
    """

    as_of: date
    hours: float
    people: tuple[str, ...]
    tasks: tuple[Ready, ...]
    suggestion: tuple[Stretch, ...]
    waiting: tuple[tuple[Task, Wait], ...]
    notes: tuple[str, ...]

    def __repr__(self) -> str:
        first = ", ".join(ready.task.task for ready in self.tasks[:3])
        return f"<Tonight {self.as_of}: {self.hours:g} hours, {len(self.tasks)} tasks ready: {first}>"

    def to_frame(self) -> pd.DataFrame:
        """One row per ready task, in descending order of points.

        Returns
        -------
        Columns task, title, stage, hands, probability_done, criticality, points, why_ready,
        expected_hours_p10, _p50 and _p90 (person-hours), frees (number of tasks)
        """
        own = ("hands", "probability_done", "criticality", "points", "why_ready")
        return pd.DataFrame(
            {
                **{c: [getattr(ready.task, c) for ready in self.tasks] for c in ("task", "title", "stage")},
                **{c: [getattr(ready, c) for ready in self.tasks] for c in own},
                **{
                    f"expected_hours_{key}": [ready.expected_hours[key] for ready in self.tasks]
                    for key in ("p10", "p50", "p90")
                },
                "frees": [len(ready.frees) for ready in self.tasks],
            }
        )

    def to_dict(self) -> dict[str, Any]:
        """The answer as JSON, in descending order of points."""
        return {
            "tasks": [
                {
                    "task": r.task.task,
                    "title": r.task.title,
                    "expected_hours": {q: round(h, 2) for q, h in r.expected_hours.items()},
                    "probability_done": round(r.probability_done, 4),
                    "why_ready": r.why_ready,
                    "frees": len(r.frees),
                }
                for r in self.tasks
            ]
        }


def tonight(fitted: Fitted, *, hours: float, people: Sequence[str], settings: Settings) -> Tonight:
    """What can be done in one session on the evening of `as_of`.

    Parameters
    ----------
    fitted : what was learned from the log up to that day
    hours : clock hours of the session, above 0
    people : names of those present, helpers included
    settings : runs and seed

    Raises
    ------
    UsageError for a session without hours or without people.
    """
    if not hours > 0 or not people:
        raise UsageError(
            f"hours must be above 0 and people must name somebody. Got {hours!r}, {people!r} instead."
        )
    state = readiness(fitted, len(people))
    found = _ready_tasks(fitted, state, hours, len(people), settings)
    found = sorted(found, key=lambda r: -r.points)
    return Tonight(
        as_of=fitted.as_of,
        hours=hours,
        people=tuple(people),
        tasks=tuple(found),
        suggestion=_evening(found, hours, tuple(people)),
        waiting=tuple((state.tasks[i], state.waits[i][0]) for i in state.nearly_ready),
        notes=(*_away(fitted, people), *fitted.effort.notes_),
    )


def usual_hours(sessions: pd.DataFrame) -> float | None:
    """The median length of a day at the bench in clock hours, to a quarter of an hour; None without a log.

    Only the last half year of the log counts, and only rows of a single day.
    """
    single = sessions.loc[sessions["date"] == sessions["until"]]
    recent = single.loc[single["date"] > single["date"].max() - pd.Timedelta(days=183)]
    if recent.empty:
        return None
    by_group = recent.groupby(["date", "builders"])["hours"].sum()
    longest = by_group.groupby("date").max()
    return max(round(4 * float(longest.median())) / 4, 0.25)


def chance_of_finishing(person_hours: np.ndarray, hours: float, hands: int) -> float:
    """The share of draws in which the person-hours left fit into a session.

    Parameters
    ----------
    person_hours : (draw,) person-hours left with `hands` people on the task
    hours : clock hours of the session
    hands : number of people on it

    Examples
    --------
    >>> chance_of_finishing(np.array([1.0, 2.0, 3.0, 7.0]), 3.0, 1)
    0.75
    """
    # The tolerance counts a task of exactly the length of the session as finished.
    return float(np.mean(person_hours <= hours * hands + 1e-9))


def hands_on(crew: str, people: int) -> int:
    """How many of the people present a task takes.

    Parameters
    ----------
    crew : one, either or two
    people : number present

    Examples
    --------
    >>> [hands_on(crew, 2) for crew in ("one", "either", "two")]
    [1, 2, 2]
    """
    return 1 if crew == "one" else min(people, 2)


def draw_hours_left(fitted: Fitted, draws: int, rng: np.random.Generator) -> np.ndarray:
    """(draw, open task) first-time person-hours left for one alone, or for the two of a `two` task.

    The model expects as much shared work as in the log; here its penalty is taken out. A reopened task has
    only its rework left.

    Parameters
    ----------
    fitted : what was learned from the log
    draws : number of draws
    rng : random generator
    """
    model = fitted.effort
    design = model.design_
    left = np.maximum(model.sample_first_time_hours(draws, rng) - model.spent_hours_, 0.0)
    left[:, design.sharable[design.open_rows]] /= model.shared_work_penalty_**design.usual_share
    for at in np.flatnonzero(design.reopened[design.open_rows]):
        left[:, at] = model.spent_hours_[at] * model.rework_and_growth_.draw_rework_share(draws, rng)
    return left


def _ready_tasks(
    fitted: Fitted, state: Readiness, hours: float, hands: int, settings: Settings
) -> list[Ready]:
    if not state.ready:
        return []
    left = draw_hours_left(fitted, min(settings.runs, _DRAWS), stream(settings.seed, TONIGHT))
    critical = _criticality(fitted, settings)
    fresh = _fresh(fitted)
    found = [
        Ready(
            task=state.tasks[i],
            hands=hands_on(state.tasks[i].crew, hands),
            session_hours=hours,
            hours_left=left[:, i],
            shared_penalty=fitted.effort.shared_work_penalty_,
            why_ready=state.why[i],
            frees=state.frees[i],
            criticality=float(critical[i]),
        )
        for i in state.ready
    ]
    return [_with_reasons(ready, fitted, hands, fresh) for ready in found]


def _with_reasons(ready: Ready, fitted: Fitted, hands: int, fresh: dict[str, date]) -> Ready:
    """A task with the reasons to do it tonight."""
    known = fitted.build.plan.by_id
    task = ready.task
    reasons: list[tuple[float, str]] = []
    if ready.criticality >= _CRITICAL:
        reasons.append((_DATE * ready.criticality, f"sets the date in {_of_ten(ready.criticality)} runs"))
    if task.crew == "two":
        reasons.append((_TWO_HERE, "needs two, and two are here"))
    for_two = [known[t] for t in ready.frees if known[t].crew == "two"]
    if for_two and hands < 2:
        words = f"makes {title_of(for_two[0])} ready for the next evening with two"
        reasons.append((_PREPARES, words))
    if fitted.progress.tasks.set_index("task").at[task.task, "sessions"]:
        reasons.append((_UNDER_WAY, "it is begun"))
    elif task.type in fresh:
        last = format_day(fresh[task.type], fitted.as_of)
        reasons.append((_FRESH, f"{task.type} is fresh in your hands, last done on {last}"))
    if task.hold_days and ready.frees:
        words = f"its hold of {format_days(task.hold_days)} then runs while nobody is here"
        reasons.append((_HOLD * ready.probability_done, words))
    reasons.sort(key=lambda reason: -reason[0])
    return replace(ready, reasons=tuple(w for _, w in reasons), points=sum(p for p, _ in reasons))


def _of_ten(share: float) -> str:
    return "nearly all" if share > 0.95 else f"{round(10 * share)} of 10"


def _fresh(fitted: Fitted) -> dict[str, date]:
    """Type of work -> the last day on which it was done, for the types done within the last days."""
    sessions = fitted.progress.sessions
    last = sessions.loc[sessions["task"] != ""].groupby("type")["until"].max()
    since = pd.Timestamp(fitted.as_of) - pd.Timedelta(days=_FRESH_DAYS)
    return {str(kind): day.date() for kind, day in last.items() if day >= since}


def _criticality(fitted: Fitted, settings: Settings) -> np.ndarray:
    """(open task,) share of the runs in which it is on the critical chain; zeros if none finishes."""
    found: list[np.ndarray] = []

    def collect(batches: tuple[SimulatedBatch, ...]) -> None:
        found.append(criticality_of_tasks(batches[0].simulation, batches[0].work.hours).index)

    few = replace(settings, runs=min(settings.runs, _TRACED_RUNS))
    simulate_what_ifs(fitted, few, [BASELINE], on_batch=collect, trace=True)
    return np.mean(found, axis=0)


def _evening(found: Sequence[Ready], hours: float, people: tuple[str, ...]) -> tuple[Stretch, ...]:
    """Fill the session from the top of the list, by median hours; whoever is left over shares a task."""
    spent = dict.fromkeys(people, 0.0)
    plan: list[Stretch] = []
    for ready in found:
        needs = 2 if ready.task.crew == "two" else 1
        who = tuple(sorted(people, key=lambda p: (spent[p], people.index(p)))[:needs])
        begin = max(spent[p] for p in who)
        if hours - begin < min(_WORTH_STARTING_HOURS, hours):
            continue
        part = _stretch(ready, who, begin)
        plan.append(part)
        spent |= dict.fromkeys(who, begin + part.hours)
    return _shared(plan, [p for p in people if spent[p] == 0.0])


def _stretch(ready: Ready, people: tuple[str, ...], begin: float) -> Stretch:
    """The task for its median clock hours, or to the end of the session."""
    median = float(np.median(ready.person_hours(len(people)))) / len(people)
    return Stretch(ready=ready, people=people, begin=begin, hours=min(median, ready.session_hours - begin))


def _shared(plan: list[Stretch], idle: list[str]) -> tuple[Stretch, ...]:
    """Whoever has nothing to do joins the first task that two may share."""
    for person in idle:
        for at, part in enumerate(plan):
            if part.ready.task.crew == "either" and len(part.people) == 1:
                plan[at] = _stretch(part.ready, (*part.people, person), part.begin)
                break
    return tuple(plan)


def _away(fitted: Fitted, people: Sequence[str]) -> list[str]:
    """Who is away on this day by away.csv."""
    day = fitted.as_of
    away = [a for a in fitted.build.away if a.start <= day <= a.end and a.builder in (None, *people)]
    return [
        f"According to away.csv {a.builder or 'everybody'} is away until {format_day(a.end, day)}."
        for a in away
    ]
