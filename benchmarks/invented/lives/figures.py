"""Figures of invented builds that can be laid beside those measured on real logs."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from datetime import date

import numpy as np

from benchmarks.invented.lives.build import LivedBuild, Piece

RANKS = 5


@dataclass(frozen=True)
class Presence:
    """Presence of one build, from its first to its last worked day; hours are person-hours."""

    days_share: float
    weekend_share: float
    weekday_share: float
    zero_weeks: float
    zero_after_zero: float
    zero_after_worked: float
    weekly_cv: float
    quarter_cv: float
    lag_1: float
    lag_13: float
    longest_zero: int
    session_hours: float
    two_stage_weeks: float


def weekly_hours(build: LivedBuild) -> np.ndarray:
    """Person-hours per week since the first day, in the plan and outside it."""
    start = build.truth.start
    weeks = np.zeros((build.truth.worked[-1].date - start).days // 7 + 1)
    for piece in build.truth.worked:
        weeks[(piece.date - start).days // 7] += piece.person_hours
    return weeks


def presence(build: LivedBuild) -> Presence:
    """Measure when the household was at the bench. Raises ValueError under 40 weeks."""
    weeks = weekly_hours(build)
    if len(weeks) < 40:
        raise ValueError(f"build {build.kind} {build.seed} has {len(weeks)} weeks, too few to measure")
    by_day = _hours_by_day(build.truth.worked)
    zero = weeks == 0
    after = zero[1:]
    quarters = weeks[: 13 * (len(weeks) // 13)].reshape(-1, 13).sum(axis=1)
    return Presence(
        days_share=len(by_day) / (7 * len(weeks)),
        weekend_share=sum(d.weekday() >= 5 for d in by_day) / (2 * len(weeks)),
        weekday_share=sum(d.weekday() < 5 for d in by_day) / (5 * len(weeks)),
        zero_weeks=float(zero.mean()),
        zero_after_zero=float(after[zero[:-1]].mean()) if zero[:-1].any() else math.nan,
        zero_after_worked=float(after[~zero[:-1]].mean()),
        weekly_cv=float(weeks.std() / weeks.mean()),
        quarter_cv=float(quarters.std() / quarters.mean()),
        lag_1=_autocorrelation(weeks, 1),
        lag_13=_autocorrelation(weeks, 13),
        longest_zero=_longest(zero),
        session_hours=float(np.median(list(by_day.values()))),
        two_stage_weeks=_two_stage_weeks(build),
    )


def _hours_by_day(pieces: tuple[Piece, ...]) -> dict[date, float]:
    """Clock hours per day that somebody worked: the longest day of any one builder."""
    per_person: dict[tuple[date, str], float] = defaultdict(float)
    for piece in pieces:
        for person in piece.builders.split("+"):
            if not person.isdigit():
                per_person[piece.date, person] += piece.hours
    longest: dict[date, float] = defaultdict(float)
    for (day, _), hours in per_person.items():
        longest[day] = max(longest[day], hours)
    return longest


def _autocorrelation(values: np.ndarray, lag: int) -> float:
    if len(values) < 3 * lag + 10:
        return math.nan
    centred = values - values.mean()
    return float((centred[lag:] * centred[:-lag]).sum() / (centred**2).sum())


def _longest(zero: np.ndarray) -> int:
    longest = run = 0
    for quiet in zero:
        run = run + 1 if quiet else 0
        longest = max(longest, run)
    return longest


def _two_stage_weeks(build: LivedBuild) -> float:
    """Share of the worked weeks that touch two stages or more."""
    stages: dict[int, set[str]] = defaultdict(set)
    for piece in build.truth.worked:
        if piece.task:
            stages[(piece.date - build.truth.start).days // 7].add(piece.stage)
    return sum(len(found) > 1 for found in stages.values()) / len(stages)


def rank_shares(build: LivedBuild, horizon_days: int) -> np.ndarray:
    """Share of the hours that went to the open stages by recency rank, and to stages not yet begun.

    Every ``horizon_days`` the stages that have been begun and are not finished are ranked by the day of
    their last work; the hours of the days up to the next such point are given to the ranks. Shape
    (RANKS + 1,): ranks 1 to RANKS, then new stages. Hours on stages beyond rank RANKS count for rank RANKS;
    stages finished before and reopened, and work outside the plan, count for nothing.
    """
    truth = build.truth
    pieces = [p for p in truth.worked if p.task]
    shares = np.zeros(RANKS + 1)
    last: dict[str, date] = {}
    ranking: list[str] = []
    point = 0
    for piece in pieces:
        now = (piece.date - truth.start).days // horizon_days
        if now != point:
            point = now
            ends = truth.stage_finish
            ranking = sorted(
                (s for s in last if (end := ends[s]) is None or end >= piece.date),
                key=lambda s: last[s],
                reverse=True,
            )
            seen = set(last)
        if point and piece.stage in ranking:
            shares[min(ranking.index(piece.stage), RANKS - 1)] += piece.person_hours
        elif point and piece.stage not in seen:
            shares[RANKS] += piece.person_hours
        last[piece.stage] = piece.date
    return shares / shares.sum() if shares.sum() else shares


def last_tenth(build: LivedBuild) -> list[float]:
    """Per finished stage: share of its span that its last 10 % of hours took."""
    found = []
    for stage, end in build.truth.stage_finish.items():
        pieces = [p for p in build.truth.worked if p.stage == stage and p.task]
        if end is None or len(pieces) < 10:
            continue
        total, so_far = sum(p.person_hours for p in pieces), 0.0
        for piece in pieces:
            so_far += piece.person_hours
            if so_far >= 0.9 * total:
                span = (end - pieces[0].date).days
                if span > 30:
                    found.append((end - piece.date).days / span)
                break
    return found


def task_ratios(build: LivedBuild) -> list[tuple[date, float]]:
    """(day of the first ``done``, log of true over planned hours) per task, rework left out."""
    planned = planned_hours(build)
    hours: dict[str, float] = defaultdict(float)
    done: dict[str, date] = {}
    for piece in build.truth.worked:
        if piece.task and not piece.rework:
            hours[piece.task] += piece.person_hours
        if piece.done:
            done.setdefault(piece.task, piece.date)
    ratios = [(day, math.log(hours[t] / planned[t])) for t, day in done.items() if planned.get(t)]
    return sorted(ratios)


def planned_hours(build: LivedBuild) -> dict[str, float]:
    """Planned hours per task, from the text of plan.csv; tasks with a blank are left out."""
    header, *lines = (line.split(",") for line in build.files["plan.csv"].splitlines())
    task, hours = header.index("task"), header.index("planned_hours")
    # titles of coarse rows may hold a quoted comma; those plans are not measured per task
    return {row[task]: float(row[hours]) for row in lines if len(row) == len(header) and row[hours]}


def block_biases(build: LivedBuild, size: int = 25) -> np.ndarray:
    """Log of actual over planned per block of ``size`` tasks in the order in which they were finished."""
    logs = np.array([log for _, log in task_ratios(build)])
    blocks = logs[: size * (len(logs) // size)].reshape(-1, size)
    return np.log(np.exp(blocks).mean(axis=1))
