"""The kinds of household: each changes a few traits of an unremarkable one.

Every function takes traits and a generator and returns changed traits. The ranges are judgement unless a
comment names a source; they are meant to be wider than any one household's life.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from benchmarks.invented.lives.traits import Traits, between, lognormal

Generator = np.random.Generator
Change = Callable[[Traits, Generator], Traits]


def plain(t: Traits, rng: Generator) -> Traits:
    """Nothing special."""
    return t


def smaller_kit(t: Traits, factor: float) -> Traits:
    """A kit that can be finished in a life with less time for it."""
    return replace(
        t, kit=replace(t.kit, planned_hours=float(np.clip(factor * t.kit.planned_hours, 400, 2100)))
    )


def fade(t: Traits, rng: Generator) -> Traits:
    """A hopeful start and hours that halve every one to four years towards a floor.

    One builder's yearly hours ran 382, 300, 159, 94 [logs]: a half-life of about 1.6 years.
    """
    course = replace(
        t.course,
        start_level=between(rng, 1.1, 1.7),
        fade_years=lognormal(rng, 1.4, 0.4),
        fade_floor=between(rng, 0.18, 0.4),
    )
    return smaller_kit(replace(t, course=course), 0.8)


def fade_growth(t: Traits, rng: Generator) -> Traits:
    """Hours fade while the plan grows."""
    t = fade(t, rng)
    surprise = replace(t.surprise, growth=between(rng, 0.12, 0.35), growth_slope=between(rng, 0.0, 0.2))
    return smaller_kit(replace(t, surprise=surprise), 0.85)


def fade_return(t: Traits, rng: Generator) -> Traits:
    """Regimes: two to five turns at which the level drops to a trickle or comes back."""
    count = int(rng.integers(2, 6))
    shares = np.sort(rng.uniform(0.08, 0.9, count))
    turns, low = [], False
    for share in shares:
        low = not low
        factor = between(rng, 0.25, 0.6) if low else between(rng, 1.6, 3.5)
        silence = between(rng, 0, 60) if low else 0.0
        turns.append((float(share), silence, factor))
    return replace(t, course=replace(t.course, start_level=between(rng, 1.0, 1.6), turns=tuple(turns)))


def life_events(t: Traits, rng: Generator) -> Traits:
    """Child, job, move, illness: one event in one to three years, months of silence, another level."""
    course = replace(
        t.course,
        start_level=between(rng, 1.0, 1.5),
        events_per_year=between(rng, 0.4, 1.2),
        event_silence=lognormal(rng, 75, 0.3),
        event_spread=between(rng, 0.6, 1.0),
        event_factor=between(rng, 0.7, 1.1),
    )
    return replace(t, course=course)


def long_gap(t: Traits, rng: Generator) -> Traits:
    """One silence of eight months to three years, anywhere from a tenth to nine tenths of the work."""
    days = float(np.clip(lognormal(rng, 400, 0.4), 245, 1100))
    turn = (between(rng, 0.1, 0.9), days, between(rng, 0.6, 1.3))
    return replace(t, course=replace(t.course, turns=(turn,)))


def late_growth(t: Traits, rng: Generator) -> Traits:
    """Growth rises by stage: the tail kit is as drawn, wiring and fitting out are invented on the way."""
    surprise = replace(
        t.surprise,
        growth=between(rng, 0.0, 0.05),
        growth_slope=between(rng, 0.3, 0.9),
        upgrades=between(rng, 0.5, 3.0),
    )
    return smaller_kit(replace(t, surprise=surprise), 0.9)


def breeding_growth(t: Traits, rng: Generator) -> Traits:
    """Additions at an even rate, and additions that breed further ones (a branching process)."""
    surprise = replace(
        t.surprise, growth=between(rng, 0.10, 0.28), growth_slope=0.0, breed=between(rng, 0.2, 0.45)
    )
    return smaller_kit(replace(t, surprise=surprise), 0.7)


def unmarked_growth(t: Traits, rng: Generator) -> Traits:
    """The plan grows, and nobody writes down when a row came."""
    surprise = replace(
        t.surprise, growth=between(rng, 0.08, 0.3), growth_slope=between(rng, 0.0, 0.4), growth_unmarked=True
    )
    return smaller_kit(replace(t, surprise=surprise), 0.9)


def dormant(t: Traits, rng: Generator) -> Traits:
    """Four and more stages open at once; each is left at nine tenths and finished much later.

    Ranked anew each week, the open stages then get about the measured shares .58/.24/.09/.05 [logs].
    """
    choice = replace(
        t.choice,
        stay=between(rng, 0.1, 0.5),
        ranks=(0.20, 0.45, 0.20, 0.15),
        new_stage=between(rng, 0.06, 0.15),
        easy=between(rng, 0.0, 0.02),
        tail_wait=between(rng, 0.75, 1.0),
        tail_late=between(rng, 0.4, 0.9),
        tail_liking=between(rng, 0.05, 0.3),
        backorder_weeks=lognormal(rng, 14, 0.4),
        ahead=between(rng, 0.15, 0.35),
    )
    kit = replace(
        t.kit,
        stages=int(rng.integers(7, 11)),
        order_ahead=between(rng, 0.0, 0.3),
        tail_share=between(rng, 0.08, 0.16),
    )
    return replace(t, choice=choice, kit=kit)


def rework_storms(t: Traits, rng: Generator) -> Traits:
    """Two to four inspections that each reopen a batch of finished tasks, one of them late."""
    early = rng.uniform(0.15, 0.8, int(rng.integers(1, 4)))
    storms = (*(float(x) for x in early), between(rng, 0.8, 0.98))
    surprise = replace(
        t.surprise,
        storms=storms,
        storm_share=between(rng, 0.08, 0.25),
        defect=between(rng, 0.08, 0.25),
        redo=between(rng, 0.3, 0.9),
        found_at_end=between(rng, 0.1, 0.6),
    )
    return smaller_kit(replace(t, surprise=surprise), 0.85)


def coarse(t: Traits, rng: Generator) -> Traits:
    """One row per stage, or two to five; with percent or without."""
    rows = 1 if rng.random() < 0.5 else int(rng.integers(2, 6))
    kit = replace(t.kit, coarse_rows=rows, unknown_hours=0.0)
    percent = between(rng, 0.3, 1.0) if rng.random() < 0.6 else 0.0
    records = replace(t.records, percent=percent, late_tick=0.0)
    return replace(t, kit=kit, records=records)


def tidy(t: Traits, rng: Generator) -> Traits:
    """Hours heaped, and 35-65 % of tasks take exactly the planned time (61 % in one record [logs])."""
    effort = replace(t.effort, exact=between(rng, 0.35, 0.65), luck=between(rng, 0.15, 0.4))
    records = replace(t.records, whole=between(rng, 0.45, 0.7), minutes=False, starts=True, settle=True)
    crew = replace(t.crew, pair_penalty=1.0)
    return replace(t, effort=effort, records=records, crew=crew)


def sloppy(t: Traits, rng: Generator) -> Traits:
    """Several days in one row, dates from memory, whole hours, ticked off weeks later."""
    records = replace(
        t.records,
        whole=between(rng, 0.85, 1.0),
        minutes=False,
        starts=False,
        lump=between(rng, 0.2, 0.6),
        backfill=between(rng, 0.1, 0.5),
        late_tick=between(rng, 0.15, 0.5),
    )
    return replace(t, records=records)


def helpers(t: Traits, rng: Generator) -> Traits:
    """A pair with one habit, and helpers without a name (27 % of the hours in one log [logs])."""
    crew = replace(
        t.crew,
        builders=("A", "B"),
        together=between(rng, 0.85, 0.96),
        helper_days=between(rng, 0.15, 0.55),
        helper_more=between(rng, 0.2, 0.6),
    )
    return replace(t, crew=crew)


def partial_log(t: Traits, rng: Generator) -> Traits:
    """A fifth to a half of the sessions without a task id or not in the log."""
    both = between(rng, 0.35, 0.85)  # of rows that do not finish a task, which are somewhat over half
    lost = between(rng, 0.0, 0.5)
    return replace(t, records=replace(t.records, unlogged=both * lost, unnamed=both * (1 - lost)))


def mislabelled(t: Traits, rng: Generator) -> Traits:
    """Types on the wrong tasks, or hours that were written for a lot of another size."""
    wrong = rng.random()
    effort = replace(
        t.effort,
        mislabel=between(rng, 0.2, 0.5) if wrong < 0.7 else 0.0,
        lot_share=between(rng, 0.15, 0.4) if wrong > 0.3 else 0.0,
        type_spread=between(rng, 0.25, 0.5),
    )
    return replace(t, effort=effort)


def speeding_up(t: Traits, rng: Generator) -> Traits:
    """Both builders build more later: 1.8 to 4 times the level after some years.

    A pair's yearly hours ran 647, 505, 1244, 1685 [logs].
    """
    crew = replace(t.crew, builders=("A", "B"), together=between(rng, 0.6, 0.96))
    course = replace(
        t.course,
        start_level=between(rng, 0.5, 0.8),
        climb=between(rng, 1.8, 4.0),
        climb_years=between(rng, 1.5, 4.0),
    )
    return replace(t, crew=crew, course=course)


def handed_over(t: Traits, rng: Generator) -> Traits:
    """Two build; at a fifth to two thirds of the work one stops, and the partner continues alone."""
    at = between(rng, 0.2, 0.65)
    crew = replace(
        t.crew,
        builders=("A", "B"),
        together=between(rng, 0.4, 0.95),
        hand_over_at=at,
    )
    turn = (at, between(rng, 0, 90), between(rng, 0.4, 1.1))
    return replace(t, crew=crew, course=replace(t.course, turns=(turn,)))


KINDS: dict[str, Change] = {
    "plain": plain,
    "fade": fade,
    "fade_growth": fade_growth,
    "fade_return": fade_return,
    "life_events": life_events,
    "long_gap": long_gap,
    "late_growth": late_growth,
    "breeding_growth": breeding_growth,
    "unmarked_growth": unmarked_growth,
    "dormant": dormant,
    "rework_storms": rework_storms,
    "coarse": coarse,
    "tidy": tidy,
    "sloppy": sloppy,
    "helpers": helpers,
    "partial_log": partial_log,
    "mislabelled": mislabelled,
    "speeding_up": speeding_up,
    "handed_over": handed_over,
}

# One of each group at most: two mechanisms of a group would overwrite each other.
GROUPS = (
    ("fade", "fade_return", "life_events", "long_gap", "speeding_up", "handed_over"),
    ("late_growth", "breeding_growth", "unmarked_growth"),
    ("coarse", "tidy", "mislabelled"),
    ("sloppy", "partial_log"),
    ("dormant",),
    ("rework_storms",),
    ("helpers",),
)


def choose_mechanisms(kind: str, rng: Generator) -> tuple[str, ...]:
    """Names of the mechanisms of a kind; ``mixed`` draws two to four from different groups."""
    if kind != "mixed":
        if kind not in KINDS:
            raise ValueError(f"kind must be one of {', '.join([*KINDS, 'mixed'])}. Got {kind!r} instead.")
        return (kind,)
    groups = rng.permutation(len(GROUPS))[: int(rng.integers(2, 5))]
    # in the order of KINDS, so that the course is set before the kit is made smaller for it
    names = {GROUPS[int(g)][int(rng.integers(len(GROUPS[int(g)])))] for g in groups}
    return tuple(name for name in KINDS if name in names)
