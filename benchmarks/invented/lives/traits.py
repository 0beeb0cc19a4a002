"""What differs between households: every parameter, drawn per build, with its source or "judgement".

Sources in brackets: [logs] figures measured on four real kit-build logs and on open records of tasks
with plan and actual, restated in README.md; [lit] literature listed there; [judgement] what is known of
home builders' lives without a figure. The kinds (mechanisms.py) change single traits; all else is drawn
here for every kind, so that no kind is a caricature with everything else fixed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Generator = np.random.Generator


@dataclass(frozen=True)
class Crew:
    """Who builds. ``together`` is how often both are there on a day that either works."""

    builders: tuple[str, ...]
    together: float
    second_alone: float
    split: float
    pair_penalty: float
    helper_days: float
    helper_more: float
    friend: float
    hand_over_at: float | None = None


@dataclass(frozen=True)
class Habit:
    """When the household is at the bench, in its middling years."""

    days_share: float
    weekend: float
    evening_hours: float
    weekend_hours: float
    mood_spread: float
    mood_weeks: float
    season: float
    season_peak: float
    on_days: float
    on_spread: float
    off_days: float
    off_tail: float
    off_longest: float
    momentum: float
    milestone_boost: float
    rest_after_stage: float
    trips: float
    leave_weeks: float
    rally: float
    rally_day: int
    near_end: float


@dataclass(frozen=True)
class Course:
    """How the level of hours moves over the years, beyond mood.

    ``fade_years`` halves the level towards ``fade_floor``; ``climb`` is the factor reached after
    ``climb_years``; ``turns`` are (share of planned hours worked, days of silence, factor after);
    ``events_per_year`` strike at any time with a silence and a factor drawn then.
    """

    fade_years: float | None = None
    fade_floor: float = 0.3
    start_level: float = 1.0
    climb: float = 1.0
    climb_years: float = 3.0
    turns: tuple[tuple[float, float, float], ...] = ()
    events_per_year: float = 0.0
    event_silence: float = 60.0
    event_spread: float = 0.8
    event_factor: float = 0.7


@dataclass(frozen=True)
class Kit:
    """The plan on the first day."""

    planned_hours: float
    stages: int
    task_hours: float
    task_spread: float
    whole_rounding: float
    strands: int
    chained: float
    two_person: float
    unknown_hours: float
    coarse_rows: int | None = None
    tail_share: float = 0.1
    order_ahead: float = 0.5
    lead_weeks: float = 10.0
    lead_spread: float = 0.3


@dataclass(frozen=True)
class Effort:
    """True hours against planned ones."""

    bias: float
    type_spread: float
    stage_spread: float
    luck: float
    left: float
    right: float
    drift: float
    drift_years: float
    exact: float
    learning: float
    forget_years: float
    repeat: float
    repeat_spread: float
    primer_hours: float
    mislabel: float = 0.0
    lot_share: float = 0.0


@dataclass(frozen=True)
class Choice:
    """How the work of a session is chosen."""

    stay: float
    ranks: tuple[float, ...]
    new_stage: float
    easy: float
    task_stay: float
    ahead: float
    tail_wait: float
    tail_late: float
    tail_liking: float
    backorder_weeks: float
    jump_order: float


@dataclass(frozen=True)
class Surprise:
    """Work that nobody planned: growth, rework, hours outside the plan."""

    growth: float
    growth_slope: float
    breed: float
    added_hours: float
    upgrades: float
    defect: float
    redo: float
    found_by_work: float
    storms: tuple[float, ...]
    storm_share: float
    found_at_end: float
    outside: float
    growth_unmarked: bool = False


@dataclass(frozen=True)
class Records:
    """How the household writes its log."""

    whole: float
    minutes: bool
    blank_alone: bool
    starts: bool
    percent: float
    percent_optimism: float
    counts: float
    settle: bool = False
    lump: float = 0.0
    backfill: float = 0.0
    late_tick: float = 0.0
    unnamed: float = 0.0
    unlogged: float = 0.0
    away_known: float = 0.7


@dataclass(frozen=True)
class Traits:
    """One household and its kit."""

    crew: Crew
    habit: Habit
    course: Course
    kit: Kit
    effort: Effort
    choice: Choice
    surprise: Surprise
    records: Records


def lognormal(rng: Generator, median: float, log_sd: float) -> float:
    """One lognormal draw by median and log-sd."""
    return float(median * np.exp(log_sd * rng.standard_normal()))


def between(rng: Generator, low: float, high: float) -> float:
    """One uniform draw."""
    return float(rng.uniform(low, high))


def draw_traits(life: Generator, work: Generator, records: Generator) -> Traits:
    """Draw a household with nothing special about it."""
    crew = draw_crew(life)
    habit = draw_habit(life)
    yearly = 365 * habit.days_share * 2.8 * (1 + 0.8 * (len(crew.builders) - 1))
    return Traits(
        crew=crew,
        habit=habit,
        course=draw_course(life),
        kit=draw_kit(work, yearly),
        effort=draw_effort(work),
        choice=draw_choice(life),
        surprise=draw_surprise(work),
        records=draw_records(records),
    )


def draw_crew(rng: Generator) -> Crew:
    """Solo builders are the rule [judgement]; a pair shares one habit: both on 504 of 561 days [logs]."""
    pair = rng.random() < 0.35
    close = rng.random() < 0.7
    return Crew(
        builders=("A", "B") if pair else ("A",),
        together=between(rng, 0.85, 0.97) if close else between(rng, 0.25, 0.7),
        second_alone=between(rng, 0.1, 0.5),
        split=between(rng, 0.1, 0.5),
        # group penalties 1.14, 1.32, 1.45 in controlled assembly [lit]; none is known for a kit
        pair_penalty=between(rng, 1.0, 1.25),
        helper_days=between(rng, 0.0, 0.06),
        helper_more=0.2,
        friend=between(rng, 0.1, 0.4),
    )


def draw_habit(rng: Generator) -> Habit:
    """Presence: a session on about a quarter of days, heavy-tailed breaks, a mood that wanders.

    Spells: time between bursts of human activity has a power-law tail, exponent of the density 1 to 2.5
    [lit: Barabasi 2005; Vazquez et al. 2006]; the cut-off is the household's.
    """
    return Habit(
        days_share=float(np.clip(lognormal(rng, 0.28, 0.22), 0.16, 0.45)),
        weekend=lognormal(rng, 1.7, 0.3),  # Saturday .32-.40 against weekdays .13-.31 [logs]
        evening_hours=lognormal(rng, 2.4, 0.18),  # median session 2.5-3 h [logs]
        weekend_hours=lognormal(rng, 3.5, 0.2),
        mood_spread=between(rng, 0.2, 0.5),  # CV of 13-week totals .54-.70 [logs]
        mood_weeks=lognormal(rng, 14, 0.6),
        season=between(rng, 0.0, 0.45),  # no season shared between households [logs]
        season_peak=between(rng, 0, 365),
        on_days=lognormal(rng, 95, 0.35),  # zero after worked week .15-.18 [logs]
        on_spread=between(rng, 0.6, 1.1),
        off_days=between(rng, 8, 13),
        off_tail=between(rng, 1.3, 2.3),
        off_longest=lognormal(rng, 95, 0.4),  # longest silences 12, 58, 132 days [logs]
        momentum=between(rng, 0.2, 0.6),
        milestone_boost=between(rng, 1.0, 1.7),  # judgement
        rest_after_stage=between(rng, 0.0, 0.5),  # judgement
        trips=between(rng, 0.5, 2.5),  # per year, judgement
        leave_weeks=between(rng, 0.0, 1.2),  # days off work spent at the bench, per year, judgement
        rally=between(rng, 1.2, 2.0) if rng.random() < 0.3 else 1.0,  # student syndrome [lit], judgement
        rally_day=int(rng.integers(0, 365)),
        near_end=between(rng, 0.8, 1.7),  # goal gradient [lit: Kivetz et al. 2006]; some shy away instead
    )


def draw_course(rng: Generator) -> Course:
    """Even an unremarkable life has about one upset in six to twenty years of building [judgement]."""
    return Course(
        start_level=between(rng, 0.9, 1.3),
        events_per_year=between(rng, 0.05, 0.16),
        event_silence=lognormal(rng, 45, 0.4),
        event_factor=between(rng, 0.6, 1.1),
    )


def draw_kit(rng: Generator, yearly: float) -> Kit:
    """People choose a kit that they hope to finish in a few years; most are too hopeful [lit: Buehler]."""
    return Kit(
        planned_hours=float(np.clip(yearly * lognormal(rng, 3.3, 0.4), 400, 2100)),
        stages=int(rng.integers(5, 11)),
        task_hours=between(rng, 3.5, 12),
        task_spread=between(rng, 0.5, 0.9),
        whole_rounding=between(rng, 0.1, 0.9),
        strands=int(rng.integers(1, 5)),
        chained=between(rng, 0.4, 0.9),
        two_person=between(rng, 0.02, 0.12),
        unknown_hours=between(rng, 0.05, 0.3) if rng.random() < 0.25 else 0.0,
        tail_share=between(rng, 0.06, 0.15),
        order_ahead=between(rng, 0.1, 0.9),
        lead_weeks=lognormal(rng, 9, 0.5),
        lead_spread=between(rng, 0.15, 0.45),
    )


def draw_effort(rng: Generator) -> Effort:
    """Effort per task: log(actual/plan) sd .5-1.1, median .95-1.08, mean 1.01-1.15 [logs].

    A lognormal of that spread would have a mean of 1.13 to 1.8 times its median, so the spread must come
    from both sides: tasks that were trivial as well as tasks that exploded.
    """
    return Effort(
        bias=float(rng.normal(0.0, 0.15)),
        type_spread=between(rng, 0.1, 0.4),
        stage_spread=between(rng, 0.1, 0.4),  # some chapters of a guide are hopeful [judgement]
        luck=between(rng, 0.2, 0.5),
        left=between(rng, 0.06, 0.2),
        right=between(rng, 0.05, 0.15),
        drift=between(rng, 0.15, 0.5),  # bias of blocks correlated .54 falling to .33 [logs]
        drift_years=lognormal(rng, 0.8, 0.5),
        exact=between(rng, 0.0, 0.15),
        learning=between(rng, 0.88, 0.99),  # 75-95 % per doubling in industry [lit], weaker at home
        forget_years=lognormal(rng, 1.5, 0.5),  # longer breaks lose more [lit: Globerson et al. 1989]
        repeat=lognormal(rng, 0.76, 0.12),  # second of a pair .40 to 1.35 of the first [logs]
        repeat_spread=between(rng, 0.2, 0.4),
        primer_hours=between(rng, 0.3, 1.2),
    )


def draw_choice(rng: Generator) -> Choice:
    """Recency and convenience, not plan order: 12-48 % of weeks touch two stages or more [logs].

    The ranks' weights apply on the evenings on which the builder does not simply continue with the stage on
    the bench (``stay``), so they are flatter than the measured shares of the hours.
    """
    return Choice(
        stay=between(rng, 0.4, 0.95),
        ranks=(0.35, 0.40, 0.15, 0.10),
        new_stage=lognormal(rng, 0.02, 0.8),
        easy=between(rng, 0.02, 0.12),
        task_stay=between(rng, 0.6, 0.9),
        ahead=between(rng, 0.02, 0.12),
        tail_wait=between(rng, 0.0, 0.35),  # last tenth of the hours: a median 21 % of the span [logs]
        tail_late=0.05,
        tail_liking=between(rng, 0.3, 0.8),
        backorder_weeks=lognormal(rng, 7, 0.5),
        jump_order=between(rng, 0.2, 0.6),
    )


def draw_surprise(rng: Generator) -> Surprise:
    """Growth and rework of a middling household; rework words in 3-12 % of titles [logs]."""
    return Surprise(
        growth=between(rng, 0.02, 0.10),
        growth_slope=between(rng, 0.0, 0.05),
        breed=0.0,
        added_hours=lognormal(rng, 4.5, 0.3),
        upgrades=0.3,
        defect=between(rng, 0.03, 0.14),
        redo=between(rng, 0.2, 0.6),
        found_by_work=between(rng, 0.4, 0.9),
        storms=(),
        storm_share=0.15,
        found_at_end=between(rng, 0.0, 0.2),  # most flaws that nobody met are lived with [judgement]
        outside=between(rng, 0.02, 0.12),
    )


def draw_records(rng: Generator) -> Records:
    """Hours heaped on whole (59-85 %) and half hours (15-31 %) [logs]."""
    return Records(
        whole=between(rng, 0.5, 0.85),
        minutes=rng.random() < 0.08,
        blank_alone=rng.random() < 0.15,
        starts=rng.random() < 0.2,
        percent=between(rng, 0.2, 0.9) if rng.random() < 0.15 else 0.0,
        percent_optimism=between(rng, 0.55, 1.05),
        counts=between(rng, 0.3, 1.0) if rng.random() < 0.4 else 0.0,
    )
