"""What a reader must know about the basis, in sentences."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from forecast.learn.bench_time import priors
from forecast.learn.bench_time.draws import HELPER, Newcomer
from forecast.learn.bench_time.setting_up import SettingUp
from forecast.learn.bench_time.simulated_weeks import Learned

_OWN_WEEKS = 26
_THIN_WEEKS = 8
_LONG_SILENCE_WEEKS = 8
_WORTH_SAYING_HOURS = 0.1


def basis_of(
    learned: Learned, newcomers: Mapping[str, Newcomer], belief: priors.BenchPriors
) -> dict[str, str]:
    """Part of the model or person -> "own", "pooled" with what other logs show, or "prior" alone."""
    weeks = {
        "silences": learned.silences.observed,
        "level": learned.level.observed,
        "habit": learned.habit.observed,
        "stage_rank": learned.ranks.observed,
    }
    nothing = {part: "pooled" if belief.builds and part != "stage_rank" else "prior" for part in weeks}
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
    belief: priors.BenchPriors,
) -> tuple[str, ...]:
    """Sentences, most telling first."""
    notes = [*_thin_log(learned, belief.builds), *_long_silence(learned)]
    notes += [_newcomer(builder.id, builder.weekly_hours, newcomers) for builder in learned.builders
              if builder.id in newcomers]  # fmt: skip
    notes += [*_visits(learned), *_season(learned), *_setting_up(setting_up)]
    return tuple(notes)


def _thin_log(learned: Learned, builds: int) -> list[str]:
    worked = int((learned.history.household.reshape(-1, 7).sum(axis=1) > 0).sum())
    if worked >= _THIN_WEEKS:
        return []
    seen = {0: "no session yet", 1: "sessions in 1 week"}.get(worked, f"sessions in {worked} weeks")
    others = f"what the {builds} pooled builds show" if builds else "what other builders' logs show"
    return [f"The log has {seen}: how the hours go on rests mostly on {others}."]


def _long_silence(learned: Learned) -> list[str]:
    silent = learned.silences.silent_weeks
    if silent < _LONG_SILENCE_WEEKS:
        return []
    stop, resume, slope, *_ = learned.silences.mean
    chance = 1 / (1 + np.exp(-(resume + slope * np.log(silent + np.arange(26.0)))))
    within = 100 * (1 - float(np.prod(1 - chance)))
    return [
        f"Nothing was logged for {silent} weeks: the chance of a session within half a year is put at "
        f"{within:.0f} %, from how earlier silences ended here and in other logs."
    ]


def _newcomer(name: str, stated: float | None, newcomers: Mapping[str, Newcomer]) -> str:
    hours = newcomers[name].weekly_hours
    low, high = hours * np.exp(1.645 * priors.STATED_HOURS_LOG_SD * np.array([-1, 1]))
    if stated is None:
        source = "assumed from the others' hours"
    elif hours < 0.95 * stated:
        source = f"assumed, less than the {stated:g} stated since weeks went by without any"
    else:
        source = "as stated"
    return f"{name} has no sessions yet: {hours:.2g} hours a week {source}, range {low:.2g} to {high:.2g}."


def _visits(learned: Learned) -> list[str]:
    company = learned.company
    if company.visits is None or not company.visitors_expected:
        return []
    rate = company.visits[0] / sum(company.visits)
    low, middle, high = learned.asking.days
    source = "by the days it waited" if learned.asking.observed else "an assumption"
    asked = f"about {middle:.0f} days ({source}, range {low:.0f} to {high:.0f})"
    if not learned.history.helper_hours.any():
        return [
            "Open tasks need two and the log has nobody but the builder: a helper is assumed on about "
            f"one session in {1 / rate:.0f}, and when such work has waited for {asked}."
        ]
    return [
        f"Open tasks need two: helpers come on about one session in {1 / rate:.0f}, by the log and a guess, "
        f"and are asked when such work has waited for {asked}."
    ]


def _season(learned: Learned) -> list[str]:
    return (
        ["The log shows a season of the year: the coming winters and summers follow it."]
        if (learned.seasonal)
        else []
    )


def _setting_up(found: SettingUp | None) -> list[str]:
    if found is None or found.low < _WORTH_SAYING_HOURS:
        return []
    mean, low, high = (round(60 * hours) for hours in (found.hours, found.low, found.high))
    return [
        f"Of each session about {mean} minutes ({low} to {high}) make no pieces: setting up and clearing "
        "away, by the pieces counted in the log."
    ]
