"""Notes on what the hours at the bench rest on, for the reader of a forecast."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

import forecast.learn.bench_time.priors as priors
from forecast.learn.bench_time.draws import HELPER, Newcomer
from forecast.learn.bench_time.setting_up import SettingUp
from forecast.learn.bench_time.simulated_weeks import Learned

# Judgements: half a year of weeks needs no others; two months are few, and long for a silence.
_OWN_WEEKS = 26
_FEW_WEEKS = 8
_LONG_SILENCE_WEEKS = 8
_LEAST_SETTING_UP_HOURS = 0.1


def basis_of(
    learned: Learned, newcomers: Mapping[str, Newcomer], prior: priors.BenchPriors
) -> dict[str, str]:
    """Part of the model or person -> "own", "pooled" with other logs, or "prior" alone.

    Parameters
    ----------
    learned, newcomers, prior : of one fit
    """
    weeks = {
        "silences": learned.silences.observed,
        "level": learned.level.observed,
        "habit": learned.habit.observed,
        "stage_rank": learned.ranks.observed,
    }
    nothing = {part: "pooled" if prior.builds and part != "stage_rank" else "prior" for part in weeks}
    basis = {
        part: nothing[part] if n == 0 else "pooled" if n < _OWN_WEEKS else "own" for part, n in weeks.items()
    }
    basis |= dict.fromkeys(newcomers, "prior")
    if learned.company.visits is not None:
        seen = bool(learned.history.helper_hours.any())
        basis[HELPER] = "prior" if not seen else "pooled" if learned.company.visitors_expected else "own"
    return basis


def notes_of(
    learned: Learned,
    newcomers: Mapping[str, Newcomer],
    setting_up: SettingUp | None,
    prior: priors.BenchPriors,
) -> tuple[str, ...]:
    """Sentences, the most important first; parameters as in `basis_of`."""
    notes = [*_short_log(learned, prior.builds), *_long_silence(learned)]
    notes += [_newcomer(builder.id, builder.weekly_hours, newcomers) for builder in learned.builders
              if builder.id in newcomers]  # fmt: skip
    notes += [*_visits(learned), *_season(learned), *_setting_up(setting_up)]
    return tuple(notes)


def _short_log(learned: Learned, builds: int) -> list[str]:
    worked = int((learned.history.household.reshape(-1, 7).sum(axis=1) > 0).sum())
    if worked >= _FEW_WEEKS:
        return []
    seen = {0: "no session yet", 1: "sessions in 1 week"}.get(worked, f"sessions in {worked} weeks")
    others = f"what the {builds} pooled builds show" if builds else "what other builders' logs show"
    return [f"The log has {seen}: the hours to come rest mostly on {others}."]


def _long_silence(learned: Learned) -> list[str]:
    silent = learned.silences.silent_weeks
    if silent < _LONG_SILENCE_WEEKS:
        return []
    stop, resume, slope, *_ = learned.silences.mean
    chance = 1 / (1 + np.exp(-(resume + slope * np.log(silent + np.arange(26.0)))))
    within = 100 * (1 - float(np.prod(1 - chance)))
    return [
        f"Nothing was logged for {silent} weeks: the chance of a session within half a year is about "
        f"{within:.0f} %, judging by how earlier silences ended here and in other logs."
    ]


def _newcomer(name: str, stated: float | None, newcomers: Mapping[str, Newcomer]) -> str:
    hours = newcomers[name].weekly_hours
    low, high = hours * np.exp(1.645 * priors.STATED_HOURS_LOG_SD * np.array([-1, 1]))
    if stated is None:
        source = "assumed from the others' hours"
    elif hours < 0.95 * stated:
        source = f"assumed, less than the {stated:g} stated since weeks passed without any"
    else:
        source = "as stated"
    return f"{name} has no sessions yet: {hours:.2g} hours per week {source}, range {low:.2g} to {high:.2g}."


def _visits(learned: Learned) -> list[str]:
    company = learned.company
    if company.visits is None or not company.visitors_expected:
        return []
    rate = company.visits[0] / sum(company.visits)
    low, middle, high = learned.calling_in.days
    source = "from the log" if learned.calling_in.observed else "an assumption"
    waits = f"about {middle:.0f} days ({source}, range {low:.0f} to {high:.0f})"
    if not learned.history.helper_hours.any():
        return [
            "Open tasks need two people and the log has only the builder: a helper is assumed on about "
            f"one session in {1 / rate:.0f}, and when such work has waited for {waits}."
        ]
    return [
        f"Open tasks need two people: helpers come on about one session in {1 / rate:.0f}, by the log and an "
        f"assumption, and are called when such work has waited for {waits}."
    ]


def _season(learned: Learned) -> list[str]:
    sentence = "The log shows a season of the year: the coming winters and summers follow it."
    return [sentence] if learned.seasonal else []


def _setting_up(found: SettingUp | None) -> list[str]:
    if found is None or found.low < _LEAST_SETTING_UP_HOURS:
        return []
    mean, low, high = (round(60 * hours) for hours in (found.hours, found.low, found.high))
    return [
        f"About {mean} minutes of each session ({low} to {high}) make no pieces: setting up and clearing "
        "away, judging by the pieces counted in the log."
    ]
