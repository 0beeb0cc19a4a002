"""Simulate the plans on the same draws and compare them run by run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from forecast.errors import UsageError
from forecast.questions.crew.answer import PLANS, SECOND, Crew, CrewAnswer, CrewPlan, HelpCurve, median_of
from forecast.questions.crew.findings import findings_of
from forecast.simulate.finish import simulate_what_ifs
from forecast.simulate.fitted import Fitted
from forecast.simulate.network import CAUSES
from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings
from forecast.simulate.what_if import WhatIf
from forecast.wording import join_words

if TYPE_CHECKING:
    from forecast.simulate.runs import SimulatedBatch

# Judgement: enough points for linear interpolation, denser where the first hours gain most.
_SHARES = (0.125, 0.25, 0.5, 0.75, 1.0)
# The curve needs medians only, and six more plans at full runs would triple the time.
_FEW_RUNS = 1_000


def compare_crews(
    fitted: Fitted,
    settings: Settings,
    *,
    weekly_hours: float | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> CrewAnswer:
    """Simulate the rest of the build alone, by two, and with a helper for two-person work only.

    The second builder is everybody else whom build.toml names; where it names nobody, one is assumed. Alone,
    somebody is called in for two-person work once it has waited.

    Parameters
    ----------
    fitted : what was learned from the log
    settings : runs, seed and horizon
    weekly_hours : clock hours per week of an assumed second builder; by default as usual at this bench
    on_progress : called with (runs done, runs in all)

    Raises
    ------
    UsageError when `weekly_hours` is given but build.toml names the second builder.
    """
    crew = crew_of(fitted, weekly_hours)
    what_ifs = what_ifs_of(fitted, crew)
    tallies = [_PlanTally() for _ in PLANS]

    def collect(batches: tuple[SimulatedBatch, ...]) -> None:
        for tally, batch in zip(tallies, batches, strict=True):
            tally.add(batch, crew)

    outlooks = simulate_what_ifs(
        fitted, settings, what_ifs, on_batch=collect, trace=True, on_progress=on_progress
    )
    plans = tuple(t.plan(p, o) for t, p, o in zip(tallies, PLANS, outlooks, strict=True))
    gains = {p.plan: gain_in_days(plans[0].outlook, p.outlook) for p in plans[1:]}
    curve = _help_curve(fitted, settings, crew, what_ifs)
    by_task = _by_task(fitted, plans)
    by_type = _by_type(by_task)
    return CrewAnswer(
        crew=crew,
        plans=plans,
        gain_days=gains,
        days_per_helper_hour={p.plan: per_hour(gains[p.plan], p.helper_hours) for p in plans[1:]},
        by_type=by_type,
        by_task=by_task,
        help=curve,
        findings=findings_of(fitted, crew, plans, gains, by_type, curve),
    )


def crew_of(fitted: Fitted, weekly_hours: float | None = None) -> Crew:
    """The first builder, and who is the second.

    Parameters
    ----------
    fitted : what was learned from the log
    weekly_hours : clock hours per week of an assumed second builder; None = as usual at this bench

    Raises
    ------
    UsageError when `weekly_hours` is given but build.toml names the second builder.
    """
    named = tuple(b.id for b in fitted.build.builders)
    if len(named) > 1 and weekly_hours is not None:
        raise UsageError(f"the hours of {join_words(named[1:], most=2)} come from the log and build.toml.")
    if len(named) > 1:
        assumed = any(fitted.bench.basis_.get(b) == "prior" for b in named[1:])
        return Crew(first=named[0], others=named[1:], weekly_hours=None, assumed=assumed)
    usual = float(fitted.bench.learned_.company.weekly_hours)
    hours = usual if weekly_hours is None else weekly_hours
    return Crew(first=named[0], others=(SECOND,), weekly_hours=hours, assumed=True)


def what_ifs_of(fitted: Fitted, crew: Crew) -> tuple[WhatIf, ...]:
    """The three plans as what-ifs: solo, two, helper.

    Where the log has no visitors, one of the others can be called in for two-person work that has waited,
    except in the plan with two builders. Only two builders share `either` tasks, as in the log.

    Parameters
    ----------
    fitted : what was learned from the log
    crew : of `crew_of`
    """
    from forecast.learn.bench_time import Newcomer

    joining: tuple[Newcomer, ...] = ()
    if crew.weekly_hours is not None:
        joining = (Newcomer(id=SECOND, weekly_hours=crew.weekly_hours),)
    two = WhatIf(joining=joining)
    helper = replace(two, only_two=crew.others, shared=0.0)
    if "helper" in fitted.bench.basis_:
        return replace(two, leaving=crew.others, shared=0.0), two, helper
    helper = replace(helper, on_call=crew.others[:1])
    return replace(helper, presence=dict.fromkeys(crew.others, 0.0)), two, helper


def gain_in_days(alone: Outlook, other: Outlook) -> np.ndarray:
    """(run,) days by which the other plan finishes before solo; NaN where neither finishes.

    Parameters
    ----------
    alone, other : outlooks on the same draws
    """
    with np.errstate(invalid="ignore"):  # infinity less infinity is NaN, as intended
        return np.asarray(alone.build_finish_days - other.build_finish_days)


def per_hour(gain_days: np.ndarray, helper_hours: np.ndarray) -> np.ndarray:
    """(run,) days gained per hour that the others work; 0 where they have nothing to do.

    Parameters
    ----------
    gain_days : (run,) days
    helper_hours : (run,) clock hours

    Examples
    --------
    >>> per_hour(np.array([10.0, 0.0]), np.array([40.0, 0.0])).tolist()
    [0.25, 0.0]
    """
    none = helper_hours <= 0
    return np.asarray(np.where(none, 0.0, gain_days / np.where(none, 1.0, helper_hours)))


@dataclass(kw_only=True)
class _PlanTally:
    """Sums over the runs of one plan, batch by batch."""

    worked: list[np.ndarray] = field(default_factory=list)
    helped: list[np.ndarray] = field(default_factory=list)
    chain_days: list[np.ndarray] = field(default_factory=list)
    links: list[np.ndarray] = field(default_factory=list)

    def add(self, batch: SimulatedBatch, crew: Crew) -> None:
        simulation = batch.simulation
        done = np.isfinite(simulation.build_finish)
        others = np.isin(batch.people, crew.others)
        hours = simulation.worked_hours
        self.worked.append(np.where(done, hours.sum(axis=1), np.inf))
        self.helped.append(hours[:, others].sum(axis=1))
        self.chain_days.append(simulation.chain_days[done].sum(axis=0, dtype=np.float64))
        self.links.append(np.bincount(simulation.chain[simulation.chain >= 0], minlength=len(CAUSES)))

    def plan(self, name: str, outlook: Outlook) -> CrewPlan:
        links = np.sum(self.links, axis=0)
        finished = max(1, int(np.isfinite(outlook.build_finish_days).sum()))
        return CrewPlan(
            plan=name,
            outlook=outlook,
            person_hours=np.concatenate(self.worked),
            helper_hours=np.concatenate(self.helped),
            causes={c: float(n) / max(1, int(links.sum())) for c, n in zip(CAUSES, links, strict=True) if n},
            chain_days=np.sum(self.chain_days, axis=0) / finished,
        )


def _by_task(fitted: Fitted, plans: tuple[CrewPlan, ...]) -> pd.DataFrame:
    tasks = fitted.progress.open_tasks
    frame = pd.DataFrame(
        {
            "task": tasks["task"],
            "stage": tasks["stage"],
            "type": tasks["type"],
            "days_alone": plans[0].chain_days,
            "days_by_two": plans[1].chain_days,
        }
    )
    return _by_days_gained(frame)


def _by_type(by_task: pd.DataFrame) -> pd.DataFrame:
    grouped = by_task.groupby("type", sort=True)
    frame = grouped[["days_alone", "days_by_two"]].sum()
    return _by_days_gained(frame.assign(tasks=grouped.size()).reset_index())


def _by_days_gained(frame: pd.DataFrame) -> pd.DataFrame:
    frame = frame.assign(days_bought=frame["days_alone"] - frame["days_by_two"])
    order = np.argsort(-frame["days_bought"].to_numpy(), kind="stable")
    return frame.iloc[order].reset_index(drop=True)


def _help_curve(fitted: Fitted, settings: Settings, crew: Crew, what_ifs: tuple[WhatIf, ...]) -> HelpCurve:
    """A few runs with the others present for a share of their hours."""
    few = replace(settings, runs=min(settings.runs, _FEW_RUNS))
    two = replace(what_ifs[1], on_call=what_ifs[2].on_call)
    parts = [replace(two, presence=dict.fromkeys(crew.others, share)) for share in _SHARES]
    present: list[np.ndarray] = []

    def collect(batches: tuple[SimulatedBatch, ...]) -> None:
        others = np.isin(batches[-1].people, crew.others)
        present.append(batches[-1].simulation.present_hours[:, others].sum(axis=1))

    alone, *others = simulate_what_ifs(fitted, few, [what_ifs[0], *parts], on_batch=collect)
    weeks = others[-1].build_finish_days / 7
    done = np.isfinite(weeks)
    total = float(np.concatenate(present)[done].sum())
    weekly = total / float(weeks[done].sum()) if weeks[done].sum() > 0 else 0.0
    gains = [median_of(gain_in_days(alone, other)) for other in others]
    return HelpCurve(weekly_hours=tuple(share * weekly for share in _SHARES), gain_days=tuple(gains))
