"""``invent``: from a kind and a seed to the files and the truth of one build."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date, timedelta

import numpy as np

from benchmarks.invented.lives.build import LivedBuild, Piece, Truth
from benchmarks.invented.lives.files import (
    BIRDS,
    away_csv,
    build_toml,
    deliveries_csv,
    log_csv,
    number,
    plan_csv,
)
from benchmarks.invented.lives.household import Household, Streams
from benchmarks.invented.lives.mechanisms import KINDS, choose_mechanisms
from benchmarks.invented.lives.records import keep_records
from benchmarks.invented.lives.traits import Traits, draw_traits, lognormal

Generator = np.random.Generator
KIND_NAMES = (*KINDS, "mixed")

# Two thirds of the seeds are for looking at and tuning; the unseen third is opened once, at the end of a
# study. The two ranges share no seed, and every kind uses the same split.
DEVELOPMENT_SEEDS = range(0, 2000)
UNSEEN_SEEDS = range(2000, 3000)

STREAMS = ("life", "work", "choice", "growth", "rework", "records")
COUNTRIES = ("GB", "DE", "FR", "US", "NL", "SE", "AU", "CA")


def invent(kind: str, seed: int) -> LivedBuild:
    """Invent one build; the same kind and seed give the same bytes.

    Raises ValueError for an unknown kind or a negative seed.

    >>> build = invent("plain", 1)
    >>> sorted(build.files)[:2]
    ['away.csv', 'build.toml']
    """
    if seed < 0:
        raise ValueError(f"seed must be 0 or more. Got {seed!r} instead.")
    root = np.random.SeedSequence([seed, *kind.encode()])
    head, *rest = root.spawn(1 + len(STREAMS))
    setup = np.random.default_rng(head)
    streams = Streams(**{name: np.random.default_rng(s) for name, s in zip(STREAMS, rest, strict=True)})
    mechanisms = choose_mechanisms(kind, setup)
    traits = draw_traits(streams.life.spawn(1)[0], streams.work.spawn(1)[0], streams.records.spawn(1)[0])
    for mechanism in mechanisms:
        traits = KINDS[mechanism](traits, setup)
    # early enough that 25 years of building end in the past, which the checks of a folder ask for
    start = date(1985, 1, 1) + timedelta(days=int(setup.integers(0, 5100)))
    household = Household(traits, start, streams)
    household.run()
    return _write_up(kind, seed, household, mechanisms, setup, streams.records)


def _write_up(
    kind: str, seed: int, house: Household, mechanisms: tuple[str, ...], setup: Generator, records: Generator
) -> LivedBuild:
    traits, plan, start = house.traits, house.plan, house.start
    known = (
        {}
        if plan.rows
        else {t.id: start + timedelta(days=t.added) for t in plan.tasks if t.added is not None}
    )
    worked, rows = keep_records(house.pieces, traits.records, known, records)
    name = (
        f"{BIRDS[int(setup.integers(len(BIRDS)))]} {('single-seater', 'two-seater')[int(setup.integers(2))]}"
    )
    country = COUNTRIES[int(setup.integers(len(COUNTRIES)))]
    last = worked[-1].date
    marked = not traits.surprise.growth_unmarked
    files = {
        "build.toml": build_toml(name, country, traits, start, _guess(traits, setup)),
        "plan.csv": plan_csv(plan, house.deliveries, start, marked),
        "log.csv": log_csv(rows, traits),
        "deliveries.csv": deliveries_csv(house.deliveries, plan, start, last),
    }
    trips = _known_trips(house, last, setup)
    if trips:
        files["away.csv"] = away_csv(trips)
    return LivedBuild(name, kind, seed, files, _truth(house, worked, mechanisms))


def _guess(traits: Traits, rng: Generator) -> float | None:
    """Weekly hours by the builder's own guess: hopeful, and left out by most."""
    if rng.random() > 0.3:
        return None
    return float(max(1, round(7 * traits.habit.days_share * 2.8 * lognormal(rng, 1.4, 0.3))))


def _known_trips(house: Household, last: date, rng: Generator) -> list[tuple[date, date]]:
    """Holidays before the last day that the household wrote down; a third of households write none."""
    if rng.random() < 0.35:
        return []
    days = [
        (house.start + timedelta(days=a), house.start + timedelta(days=b)) for a, b in house.presence.trips
    ]
    return [trip for trip in days if trip[0] <= last and rng.random() < house.traits.records.away_known]


def _truth(house: Household, worked: tuple[Piece, ...], mechanisms: tuple[str, ...]) -> Truth:
    stages = house.plan.stages
    finish: dict[str, date | None] = dict.fromkeys(stages)
    hours = dict.fromkeys([*stages, "other"], 0.0)
    for piece in worked:
        hours[piece.stage] += piece.person_hours
        if piece.done and house.stage_finished(piece.stage):
            finish[piece.stage] = piece.date
    ends = [day for day in finish.values() if day is not None]
    drawn: dict[str, object] = asdict(house.traits)
    drawn["planned_hours"] = number(house.plan.planned_total)
    return Truth(
        start=house.start,
        finish=max(ends) if house.finished else None,
        stage_finish=finish,
        worked=worked,
        hours=sum(hours.values()),
        stage_hours=hours,
        plan_versions=_versions(house),
        mechanisms=mechanisms,
        drawn=drawn,
    )


def _versions(house: Household) -> tuple[tuple[date, str], ...]:
    """The plan as it was after each day on which rows came, where the rows do not say so themselves."""
    if not house.traits.surprise.growth_unmarked or house.plan.rows:
        return ()
    days = sorted({0, *(task.added for task in house.plan.tasks if task.added is not None)})
    return tuple(
        (house.start + timedelta(days=day), plan_csv(house.plan, house.deliveries, house.start, False, day))
        for day in days
    )
