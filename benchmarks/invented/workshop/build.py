"""An invented build as the program sees it, its truth, and other ways in which it could have continued."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np

from benchmarks.invented.workshop.log import LogRow, log_rows, lump, sessions_of, stages_of_days
from benchmarks.invented.workshop.presence import QUARTERS
from benchmarks.invented.workshop.scenario import PlayState, Scenario, begin
from benchmarks.invented.workshop.totals import TrueTask
from benchmarks.invented.workshop.truth import Truth
from forecast.files.folder import Build
from forecast.files.plan import Delivery, Plan, Task

_OWN, _LUMPS = range(2)


@dataclass(frozen=True, kw_only=True)
class PlayedOn:
    """Ways in which a build could continue after a day; days are counted from the end of that day.

    Attributes
    ----------
    stages : in plan order
    stage_days : (run, stage) days until the stage is finished; 0 = it was finished before
    build_days : (run,) days until the whole build is finished
    person_hours : (run,) of all work to come
    window_hours : (run,) person-hours of it inside the window
    task_hours : (run,) person-hours of it on the given tasks
    """

    stages: tuple[str, ...]
    stage_days: np.ndarray
    build_days: np.ndarray
    person_hours: np.ndarray
    window_hours: np.ndarray
    task_hours: np.ndarray


@dataclass(frozen=True, kw_only=True)
class SyntheticBuild:
    """An invented build, simulated to its end.

    Attributes
    ----------
    scenario, seed : what it was made from
    build : the build folder, with the whole log
    rows : the log, row by row
    truth : its parameters and outcome
    """

    scenario: Scenario
    seed: int
    build: Build
    rows: tuple[LogRow, ...]
    truth: Truth

    def cut(self, fraction: float) -> date:
        """The first day at whose end this fraction of all person-hours is in the log.

        Raises
        ------
        ValueError when the fraction is not above 0 and at most 1.
        """
        if not 0.0 < fraction <= 1.0:
            raise ValueError(f"fraction must be above 0 and at most 1. Got {fraction!r} instead.")
        f = self.build.sessions.sort_values("until", kind="stable")
        done = f["person_hours"].cumsum().to_numpy()
        day: date = f["until"].iloc[int(np.searchsorted(done, fraction * done[-1] - 1e-9))].date()
        return day

    def as_known_on(self, as_of: date) -> Build:
        """The build folder at the end of `as_of`."""
        sessions = self.build.sessions
        return replace(
            self.build,
            sessions=sessions.loc[sessions["until"] <= np.datetime64(as_of)].reset_index(drop=True),
            plan=self.build.plan.known_on(as_of),
            deliveries=tuple(known_delivery(d, as_of) for d in self.build.deliveries),
        )

    def state_on(self, as_of: date) -> PlayState:
        """The state of the simulation at the end of `as_of`, simulated again from the first day."""
        state = begin(self.scenario, _stream(self.seed, _OWN))
        state.workshop.logs_rows = True
        state.play(as_of.toordinal())
        return state

    def play_on(
        self,
        as_of: date,
        runs: int,
        rng: np.random.Generator,
        *,
        without: Collection[str] = (),
        window_days: int = 0,
        tasks: Collection[str] = (),
    ) -> PlayedOn:
        """Simulate the rest of the build with its true parameters and new random numbers: the oracle.

        The oracle knows every parameter, the present level, drift and pair effects, and faults that have
        not been found yet; it does not know the random numbers to come.

        Parameters
        ----------
        as_of : the last day that has happened
        runs : number of simulations
        rng : source of random numbers; equal generators give paired runs, whoever is left out
        without : builders who no longer come
        window_days : length of the window, from the day after `as_of`
        tasks : ids of tasks that are in the plan by `as_of`
        """
        state = self.state_on(as_of)
        for builder in without:
            state.presence.joins = {b: d for b, d in state.presence.joins.items() if b != builder}
        ids = _plan_with_added(self.scenario.plan, state)[1]
        positions = [ids.index(t) for t in tasks]
        before = np.array([_quarters(state), _quarters(state), _quarters(state, positions)])
        days, quarters = [], []
        for own in rng.spawn(runs):
            one = state.copy()
            one.redraw(own)
            one.play(as_of.toordinal() + window_days)
            within = _quarters(one)
            one.play()
            days.append(one.workshop.stage_last)
            quarters.append((_quarters(one), within, _quarters(one, positions)))
        hours = (np.array(quarters).reshape(-1, 3) - before) / QUARTERS
        stage_days = np.maximum(np.array(days, dtype=float) - as_of.toordinal(), 0.0)
        return PlayedOn(
            stages=self.scenario.plan.stages,
            stage_days=stage_days,
            build_days=stage_days.max(axis=1),
            person_hours=hours[:, 0],
            window_hours=hours[:, 1],
            task_hours=hours[:, 2],
        )


def play_scenario(scenario: Scenario, seed: int, *, lump_chance: float = 0.0) -> SyntheticBuild:
    """Simulate a scenario to its end.

    Parameters
    ----------
    scenario : the build before its first day
    seed : the same seed gives the same build
    lump_chance : chance that a run of sessions on one task is logged as one row
    """
    state = begin(scenario, _stream(seed, _OWN))
    state.play()
    work = state.workshop
    plan, ids = _plan_with_added(scenario.plan, state)
    rows = log_rows(work.rows, ids, plan, stages_of_days(work.rows, ids, plan))
    if lump_chance:
        rows = lump(rows, lump_chance, _stream(seed, _LUMPS))
    build = Build(
        folder=Path("synthetic"),
        name=scenario.name,
        country=scenario.country,
        builders=scenario.builders,
        limits=scenario.limits,
        plan=plan,
        sessions=sessions_of(rows),
        deliveries=tuple(_delivery(d, state) for d in scenario.deliveries),
        away=scenario.away,
        notices=(),
    )
    return SyntheticBuild(
        scenario=scenario, seed=seed, build=build, rows=tuple(rows), truth=_truth(scenario, state, ids)
    )


def known_delivery(delivery: Delivery, as_of: date) -> Delivery:
    """A delivery as known at the end of `as_of`."""

    def known(day: date | None) -> date | None:
        return day if day is not None and day <= as_of else None

    return replace(delivery, ordered=known(delivery.ordered), arrived=known(delivery.arrived))


def _stream(seed: int, place: int) -> np.random.Generator:
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(place,)))


def _quarters(state: PlayState, tasks: Sequence[int] | None = None) -> int:
    """Person-quarter-hours so far on the tasks at these positions (None: on everything)."""
    work = state.workshop
    if tasks is not None:
        return sum(work.spent[i] + work.rework_spent[i] for i in tasks)
    return work.planned_spent + work.outside_spent


def _plan_with_added(plan: Plan, state: PlayState) -> tuple[Plan, list[str]]:
    """The plan including the tasks added during the build, each at its place, and the ids by position."""
    work = state.workshop
    tasks = list(plan.tasks)
    for number, (day, _, kind, stage, base) in enumerate(work.added, start=1):
        tasks.append(
            Task(
                task=f"X{number:02d}", stage=plan.stages[stage], title=f"Not in the guide: {kind}",
                type=kind, planned_hours=base, added=date.fromordinal(day),
            )
        )  # fmt: skip
    order = sorted(range(len(tasks)), key=lambda i: work.place[i])
    return Plan(tasks=tuple(tasks[i] for i in order)), [t.task for t in tasks]


def _delivery(delivery: Delivery, state: PlayState) -> Delivery:
    ordered = state.workshop.supplies.ordered.get(delivery.delivery)
    if delivery.arrived is not None or ordered is None:
        return delivery
    arrives = date.fromordinal(state.workshop.supplies.arrives[delivery.delivery])
    return replace(delivery, ordered=date.fromordinal(ordered), arrived=arrives)


def _truth(scenario: Scenario, state: PlayState, ids: Sequence[str]) -> Truth:
    work = state.workshop
    added = [
        TrueTask(task=ids[number], type=kind, base_hours=base, quantity=1)
        for _, number, kind, _, base in work.added
    ]
    tasks = (*scenario.tasks, *added)
    first = min((r.day for r in work.rows), default=state.day)
    monday = first - (first - 1) % 7
    weeks = np.zeros((state.day - monday) // 7 + 1)
    for row in work.rows:
        weeks[(row.day - monday) // 7] += row.quarters * len(row.people) / QUARTERS
    finish = {s: date.fromordinal(d) for s, d in zip(scenario.plan.stages, work.stage_last, strict=True)}
    return Truth(
        effort=scenario.effort,
        beyond=scenario.beyond,
        reports=scenario.reports,
        habit=scenario.habit,
        order=scenario.order,
        types={t.task: t.type for t in tasks},
        base_hours={t.task: t.base_hours for t in tasks},
        total_hours={i: q / QUARTERS for i, q in zip(ids, work.spent, strict=True)},
        rework_hours={i: q / QUARTERS for i, q in zip(ids, work.rework_spent, strict=True)},
        outside_hours=work.outside_spent / QUARTERS,
        stage_finish=finish,
        build_finish=max(finish.values()),
        weekly_hours=weeks,
    )
