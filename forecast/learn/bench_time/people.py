"""Who comes when the household has a session: one of a pair, both, visitors, and newcomers.

A pair shares one habit. On each day with a session every named person has a share of its hours (0 = did not
come, 1 = stayed as long as the longest). The shares of whole days are resampled from the log by a Bayesian
bootstrap, so that their frequencies are uncertain too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

import forecast.learn.bench_time.priors as priors
from forecast.learn.bench_time.draws import Newcomer
from forecast.learn.bench_time.history import History
from forecast.random_streams import named_stream

_STEPS = 4  # shares to the quarter: finer ones would make every day a pattern of its own
_MOST_VISITORS = 4  # people round one bench: more are counted as so many; bounds memory


@dataclass(frozen=True, kw_only=True)
class Company:
    """Posterior of who comes.

    Attributes
    ----------
    settled : (settled person,) columns of the people with sessions of their own
    shares : (pattern, settled person) 0..1 of the household's hours of a day
    weight : (pattern,) days of the log (recent ones weigh more) and of the prior with that pattern
    visits : Beta parameters of the chance of a visitor on a day with a session, or None
    visit_share : share of the household's hours that a visitor stays
    parties : (visitor,) share of the visits to which at least so many come: 1 for the first
    visitors_expected : whether open tasks need two and only a visitor can be the second
    weekly_hours : the household's mean clock hours per week, silent weeks included
    """

    settled: np.ndarray
    shares: np.ndarray
    weight: np.ndarray
    visits: tuple[float, float] | None
    visit_share: float
    parties: np.ndarray
    visitors_expected: bool
    weekly_hours: float


def fit_company(history: History, settled: np.ndarray, visitors_expected: bool) -> Company:
    """Fit who comes.

    Parameters
    ----------
    history : the log as days
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
        # Without need for a second person the log decides: Jeffreys' prior.
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
        parties=_parties(history, fade),
        weekly_hours=mean,
    )


def _parties(history: History, fade: np.ndarray) -> np.ndarray:
    """(visitor,) share of the visits to which at least so many come."""
    number = np.minimum(np.round(history.helpers), _MOST_VISITORS)
    weight = fade * (history.helper_hours > 0)
    if not weight.any():
        return np.ones(1)
    counts = np.arange(1, int(number[weight > 0].max()) + 1)
    return np.asarray([float(weight[number >= n].sum() / weight.sum()) for n in counts])


def fade_of(history: History) -> np.ndarray:
    """(day,) weight of each day; company changes, so recent days weigh more."""
    age = history.age_weeks
    return np.asarray(np.where(age >= 0, 0.5 ** (age / priors.COMPANY_HALF_LIFE_WEEKS), 0.0))


def _patterns(history: History, settled: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distinct shares (to the quarter) since the last person joined, and the weight of each."""
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
    # The kernel tries them in order: the likeliest first.
    likeliest_first = np.argsort(-weight, kind="stable")
    return shares[likeliest_first], weight[likeliest_first]


def _prior_patterns(people: int) -> tuple[np.ndarray, np.ndarray]:
    """Prior patterns: all together, or one of them alone."""
    alone = (1 - priors.BOTH_PRESENT) / people
    weight = priors.PAIR_PRIOR_DAYS * np.array([priors.BOTH_PRESENT, *[alone] * people])
    return np.vstack([np.ones(people), np.eye(people)]), weight


def sample_weights(company: Company, draws: int, rng: np.random.Generator) -> np.ndarray:
    """(draw, pattern) cumulative weights of the patterns, from a Dirichlet distribution.

    Parameters
    ----------
    company : posterior of who comes
    draws : number of draws
    rng : source of randomness
    """
    gammas = rng.standard_gamma(company.weight, size=(draws, len(company.weight)))
    gammas = np.maximum(gammas, 1e-300)  # tiny weights may underflow to 0, and their sum with them
    return np.asarray((np.cumsum(gammas, axis=1) / gammas.sum(axis=1, keepdims=True)).astype(np.float32))


def newcomer_weekly_hours(newcomer: Newcomer, draws: int, key: int) -> np.ndarray:
    """(draw,) weekly clock hours: as stated, with the usual error of such a guess.

    Parameters
    ----------
    newcomer : who joins
    draws : number of draws
    key : seed of a stream that depends on the newcomer's id alone
    """
    z = named_stream(key, newcomer.id).standard_normal(draws)
    return np.asarray(newcomer.weekly_hours * np.exp(priors.STATED_HOURS_LOG_SD * z))


def draw_newcomer(
    household: np.ndarray,
    weekly_hours: np.ndarray,
    usual_weekly_hours: float,
    kinds: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """(draw, day) hours of somebody without sessions: mostly on the household's days, sometimes alone.

    Parameters
    ----------
    household : (draw, day) clock hours
    weekly_hours : (draw,) clock hours of the newcomer
    usual_weekly_hours : clock hours of the household
    kinds : (day,) kind of each day
    rng : source of randomness
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


def has_joined(newcomer: Newcomer, start: date, days: int) -> np.ndarray:
    """(day,) True from the day on which a newcomer joins; `start` is day 0."""
    first = 0 if newcomer.from_date is None else (newcomer.from_date - start).days
    return np.arange(days) >= first


def newcomers_by_id(newcomers: Sequence[Newcomer]) -> dict[str, Newcomer]:
    """Newcomers by id.

    Raises
    ------
    ValueError : for an id that occurs twice
    """
    by_id = {n.id: n for n in newcomers}
    if len(by_id) < len(newcomers):
        raise ValueError(f"each joining person must be named once. Got {[n.id for n in newcomers]} instead.")
    return by_id
