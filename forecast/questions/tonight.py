"""What to do tonight: which tasks are ready, the chance of finishing each, and a plan for the evening.

The chance of finishing a task is the share of draws in which the hours left on it, of first-time work, fit
into the session: `one` takes one person whoever is there, `two` takes two at once, and two who share an
`either` task need more person-hours for it, by the factor that the log has taught.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from forecast.files.plan import Task
from forecast.quantiles import QUANTILES, quantile_key, sample_quantile
from forecast.questions.readiness import Readiness, Wait, readiness, say_day, say_days, title_of
from forecast.random_streams import TONIGHT, stream
from forecast.simulate.finish import simulate_what_ifs
from forecast.simulate.fitted import Fitted
from forecast.simulate.network import criticality_of_tasks
from forecast.simulate.settings import Settings
from forecast.simulate.what_if import BASELINE

if TYPE_CHECKING:
    from forecast.simulate.runs import SimulatedBatch

USUAL_HOURS = 2.5  # of a session where no log says better: median of real logs, measured by the authors
_DRAWS = 4_000
_PLAYS = 300
_FRESH_DAYS = 10
_WORTH_STARTING_HOURS = 0.5
# What speaks for a task, in points: judgement, no source.
_TWO_HERE, _PREPARES, _DATE, _UNDER_WAY, _FRESH, _HOLD = 3.0, 2.0, 2.0, 1.5, 1.0, 1.0


@dataclass(frozen=True, kw_only=True)
class Ready:
    """A task that could be taken up tonight.

    Attributes
    ----------
    task : a row of the plan
    hands : how many of those who are there it takes
    session_hours : clock hours of the session
    hours_left : (draw,) person-hours still to do by one person alone, or by the two of a `two` task
    shared_penalty : person-hours of two who share it, as a multiple of one alone
    why_ready : in words
    frees : ids of the tasks that wait for it and for nothing else
    criticality : share of the runs in which it is on the chain of tasks that sets the date of the build
    reasons : what speaks for doing it tonight, in words, the strongest first
    points : how much they weigh
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
        """(draw,) person-hours still to do when so many people are on it."""
        shared = hands > 1 and self.task.crew == "either"
        return self.hours_left * self.shared_penalty if shared else self.hours_left

    def chance(self, hours: float, hands: int) -> float:
        """The chance that so many people finish it within so many clock hours."""
        return chance_of_finishing(self.person_hours(hands), hours, hands)

    @property
    def expected_hours(self) -> dict[str, float]:
        """Quantiles of the person-hours still to do with tonight's hands."""
        needed = self.person_hours(self.hands)
        return {quantile_key(q): sample_quantile(needed, q) for q in QUANTILES}

    @property
    def probability_done(self) -> float:
        """The chance of finishing it when the whole session goes to it."""
        return self.chance(self.session_hours, self.hands)


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """A part of the evening: who works on what, from which hour of the session, for about how long."""

    ready: Ready
    people: tuple[str, ...]
    begin: float
    hours: float

    @property
    def probability_done(self) -> float:
        """The chance of finishing the task if it is stayed with until the session ends."""
        return self.ready.chance(self.ready.session_hours - self.begin, len(self.people))


@dataclass(frozen=True, kw_only=True)
class Tonight:
    """The answer for one evening.

    Attributes
    ----------
    as_of : the day of the session
    hours : its length in clock hours
    people : who is there
    tasks : every task that is ready, what serves the date best first
    suggestion : an evening made of them, nobody in two places at once
    waiting : what is nearly ready: (task, the one thing that it waits for), in the order of the plan
    notes : what a reader must know, in sentences
    """

    as_of: date
    hours: float
    people: tuple[str, ...]
    tasks: tuple[Ready, ...]
    suggestion: tuple[Stretch, ...]
    waiting: tuple[tuple[Task, Wait], ...]
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """The answer as the contract's JSON, what serves the date best first."""
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
    """What could be done in one session on the evening of `as_of`.

    Parameters
    ----------
    fitted : what was learned from the log up to that day
    hours : clock hours of the session, above 0
    people : names of those who are there, helpers among them
    settings : runs and seed
    """
    if not hours > 0 or not people:
        raise ValueError(f"hours must be above 0 and somebody there. Got {hours!r}, {people!r} instead.")
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
    """The median length of a day at the bench in clock hours, to a quarter; None without a log.

    The last half year counts where there is one; rows that stand for several days do not.
    """
    single = sessions.loc[sessions["date"] == sessions["until"]]
    recent = single.loc[single["date"] > single["date"].max() - pd.Timedelta(days=183)]
    if recent.empty:
        return None
    by_group = recent.groupby(["date", "builders"])["hours"].sum()
    longest = by_group.groupby("date").max()
    return max(round(4 * float(longest.median())) / 4, 0.25)


def chance_of_finishing(person_hours: np.ndarray, hours: float, hands: int) -> float:
    """The share of draws of the person-hours still to do that fit into a session.

    Parameters
    ----------
    person_hours : (draw,) with so many people on the task
    hours : clock hours of the session
    hands : how many people are on it

    Examples
    --------
    >>> chance_of_finishing(np.array([1.0, 2.0, 3.0, 7.0]), 3.0, 1)
    0.75
    """
    return float(np.mean(person_hours <= hours * hands + 1e-9))


def hands_on(crew: str, people: int) -> int:
    """How many of those who are there one task takes: `one` never takes two.

    >>> [hands_on(crew, 2) for crew in ("one", "either", "two")]
    [1, 2, 2]
    """
    return 1 if crew == "one" else min(people, 2)


def draw_hours_left(fitted: Fitted, draws: int, rng: np.random.Generator) -> np.ndarray:
    """(draw, open task) first-time person-hours still to do by one alone, or by the two of a `two` task.

    The model expects as much shared work as the log has; here it is taken out. Of a task that is open
    again the rework on it is left.

    Parameters
    ----------
    fitted : what was learned from the log
    draws : how many
    rng : source of randomness
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
    return [_weighed(ready, fitted, hands, fresh) for ready in found]


def _weighed(ready: Ready, fitted: Fitted, hands: int, fresh: dict[str, date]) -> Ready:
    """What speaks for a task tonight."""
    known = fitted.build.plan.by_id
    task = ready.task
    said: list[tuple[float, str]] = []
    if ready.criticality >= 0.25:
        said.append((_DATE * ready.criticality, f"sets the date in {_of_ten(ready.criticality)} runs"))
    if task.crew == "two":
        said.append((_TWO_HERE, "needs two, and two are here"))
    for_two = [known[t] for t in ready.frees if known[t].crew == "two"]
    if for_two and hands < 2:
        words = f"makes {title_of(for_two[0])} ready for the next evening with two"
        said.append((_PREPARES, words))
    if fitted.progress.tasks.set_index("task").at[task.task, "sessions"]:
        said.append((_UNDER_WAY, "it is begun"))
    elif task.type in fresh:
        last = say_day(fresh[task.type], fitted.as_of)
        said.append((_FRESH, f"{task.type} is fresh in your hands, last done on {last}"))
    if task.hold_days and ready.frees:
        words = f"its hold of {say_days(task.hold_days)} then runs while nobody is here"
        said.append((_HOLD * ready.probability_done, words))
    said.sort(key=lambda s: -s[0])
    return replace(ready, reasons=tuple(w for _, w in said), points=sum(p for p, _ in said))


def _of_ten(share: float) -> str:
    return "nearly all" if share > 0.95 else f"{round(10 * share)} of 10"


def _fresh(fitted: Fitted) -> dict[str, date]:
    """The types of work that were done within the last days, and when last."""
    sessions = fitted.progress.sessions
    last = sessions.loc[sessions["task"] != ""].groupby("type")["until"].max()
    since = pd.Timestamp(fitted.as_of) - pd.Timedelta(days=_FRESH_DAYS)
    return {str(kind): day.date() for kind, day in last.items() if day >= since}


def _criticality(fitted: Fitted, settings: Settings) -> np.ndarray:
    """(open task,) share of plays in which it is on the chain that sets the date; zeros if none finishes."""
    found: list[np.ndarray] = []

    def collect(batches: tuple[SimulatedBatch, ...]) -> None:
        found.append(criticality_of_tasks(batches[0].simulation, batches[0].work.hours).index)

    few = replace(settings, runs=min(settings.runs, _PLAYS))
    simulate_what_ifs(fitted, few, [BASELINE], on_batch=collect, trace=True)
    return np.mean(found, axis=0)


def _evening(found: Sequence[Ready], hours: float, people: tuple[str, ...]) -> tuple[Stretch, ...]:
    """Fill the session from the top of the list, by median hours; two share only what is left over."""
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
    """Those who are said to be away on this day."""
    day = fitted.as_of
    away = [a for a in fitted.build.away if a.start <= day <= a.end and a.builder in (None, *people)]
    return [
        f"away.csv says that {a.builder or 'everybody'} is away until {say_day(a.end, day)}." for a in away
    ]
