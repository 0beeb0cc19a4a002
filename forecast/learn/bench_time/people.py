"""Who is there when the household has a session: one of a pair, both, visitors, and who may join.

A pair shares one habit. On each day with a session every named person has a share of its hours
(0 = did not come, 1 = stayed as long as the longest). The shares of whole days are drawn together
from the days of the log by a Bayesian bootstrap: the weights of the days are uncertain themselves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from forecast.learn.bench_time import priors
from forecast.learn.bench_time.draws import Newcomer
from forecast.learn.bench_time.history import History
from forecast.random_streams import named_stream

_STEPS = 4


@dataclass(frozen=True, kw_only=True)
class Company:
    """What the log tells of company.

    Attributes
    ----------
    settled : (settled person,) columns of the people whose share the log tells
    shares : (pattern, settled person) 0..1 of the household's hours of a day
    weight : (pattern,) how many days of the log (recent ones weigh more) and of the prior it stands for
    visits : Beta parameters of the chance of a visitor on a day with a session, or None
    visit_share : share of the household's hours that a visitor stays
    visitors_expected : whether open tasks need two and only a visitor can be the second
    weekly_hours : the household's mean clock hours a week, silent weeks included
    """

    settled: np.ndarray
    shares: np.ndarray
    weight: np.ndarray
    visits: tuple[float, float] | None
    visit_share: float
    visitors_expected: bool
    weekly_hours: float


def fit_company(history: History, settled: np.ndarray, visitors_expected: bool) -> Company:
    """Learn who comes.

    Parameters
    ----------
    settled : columns of the people with sessions of their own
    visitors_expected : whether open tasks need two and nobody but a visitor can be the second
    """
    shares, weight = _patterns(history, settled)
    household = history.household
    worked = household > 0
    fade = fade_of(history)
    visited = history.helper_hours > 0
    visits: tuple[float, float] | None = None
    visit_share = 1.0
    if visited.any() or visitors_expected:
        came, alone = priors.HELPER_PRIOR if visitors_expected else (0.5, 0.5)
        visits = (
            came + float((fade * visited).sum()),
            alone + float((fade * (worked & ~visited)).sum()),
        )
    if visited.any():
        visit_share = min(1.0, float(history.helper_hours[visited].sum() / household[visited].sum()))
    weeks = float(fade[history.open_days & history.known].sum()) / 7
    usual = priors.WEEKLY_HOURS * priors.WORKED_SHARE * priors.STATED_WEEKS
    mean = (float((fade * household).sum()) + usual) / (weeks + priors.STATED_WEEKS)
    return Company(
        settled=settled,
        visitors_expected=visitors_expected,
        shares=shares,
        weight=weight,
        visits=visits,
        visit_share=visit_share,
        weekly_hours=mean,
    )


def fade_of(history: History) -> np.ndarray:
    """(day,) weight of each day: company changes, so recent days weigh more."""
    age = history.age_weeks
    return np.asarray(np.where(age >= 0, 0.5 ** (age / priors.COMPANY_HALF_LIFE_WEEKS), 0.0))


def _patterns(history: History, settled: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distinct shares (to the quarter) of the days since the last newcomer's first one, and their weight."""
    hours = history.hours[:, settled]
    household = hours.max(axis=1, initial=0.0)
    came = hours > 0
    newest = int(np.argmax(came, axis=0).max(initial=0))
    days = np.flatnonzero(household > 0)
    days = days[days >= newest]
    share = np.ceil(hours[days] / household[days, None] * _STEPS).astype(int)
    patterns, place = np.unique(share, axis=0, return_inverse=True)
    weight = np.bincount(place.ravel(), weights=fade_of(history)[days], minlength=len(patterns))
    if len(settled) < 2:
        return np.ones((1, len(settled))), np.ones(1)
    prior, prior_weight = _prior_patterns(len(settled))
    shares, weight = np.vstack([patterns / _STEPS, prior]), np.concatenate([weight, prior_weight])
    likeliest_first = np.argsort(-weight, kind="stable")
    return shares[likeliest_first], weight[likeliest_first]


def _prior_patterns(people: int) -> tuple[np.ndarray, np.ndarray]:
    """All of them, or one of them alone."""
    alone = (1 - priors.BOTH_PRESENT) / people
    weight = priors.PAIR_PRIOR_DAYS * np.array([priors.BOTH_PRESENT, *[alone] * people])
    return np.vstack([np.ones(people), np.eye(people)]), weight


def sample_weights(company: Company, draws: int, rng: np.random.Generator) -> np.ndarray:
    """(draw, pattern) cumulative weights of the patterns (Dirichlet)."""
    gammas = rng.standard_gamma(company.weight, size=(draws, len(company.weight)))
    gammas = np.maximum(gammas, 1e-300)
    return np.asarray((np.cumsum(gammas, axis=1) / gammas.sum(axis=1, keepdims=True)).astype(np.float32))


def newcomer_weekly_hours(joining: Newcomer, draws: int, key: int) -> np.ndarray:
    """(draw,) weekly hours: what was said, and how wrong such a guess may be."""
    z = named_stream(key, joining.id).standard_normal(draws)
    return np.asarray(joining.weekly_hours * np.exp(priors.STATED_HOURS_LOG_SD * z))


def draw_newcomer(
    household: np.ndarray,
    weekly_hours: np.ndarray,
    usual_weekly_hours: float,
    kinds: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """(draw, day) hours of somebody without a log: mostly on the household's days, now and then alone.

    Parameters
    ----------
    household : (draw, day) clock hours
    weekly_hours : (draw,) of the newcomer
    usual_weekly_hours : of the household
    kinds : (day,) kind of each day
    """
    from forecast.learn.bench_time.kernel import newcomer_days

    together = np.minimum(priors.BOTH_PRESENT, priors.BOTH_PRESENT * weekly_hours / usual_weekly_hours)
    alone = (weekly_hours - together * usual_weekly_hours) / priors.SESSION_HOURS
    day_chance = (priors.DAY_CHANCE / priors.DAY_CHANCE.sum())[kinds]
    hours = np.empty(household.shape, dtype=np.float32)
    scale, shape = priors.SESSION_HOURS / priors.SESSION_SHAPE, priors.SESSION_SHAPE
    longest = priors.LONGEST_DAY_HOURS
    newcomer_days(rng, household, together, alone, day_chance, scale, shape, longest, hours)
    return hours


def joined_by(joining: Newcomer, start: date, days: int) -> np.ndarray:
    """(day,) True from the day on which somebody joins."""
    first = 0 if joining.from_date is None else (joining.from_date - start).days
    return np.arange(days) >= first


def joinings_by_id(joining: Sequence[Newcomer]) -> dict[str, Newcomer]:
    """By id; an id that joins twice is refused."""
    by_id = {j.id: j for j in joining}
    if len(by_id) < len(joining):
        raise ValueError(f"each joining person must be named once. Got {[j.id for j in joining]} instead.")
    return by_id
