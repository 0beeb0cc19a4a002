"""What pooled priors are worth to a builder who has just begun, and what they cost later.

    python -m benchmarks.skill.pooled_priors [--newcomers 32] [--strangers 40] [--runs 300] [--seed 20261127]
                                     [--work DIR]

An invented club builds to one guide that is optimistic: its members differ from each other, and as a club
from what the program believes of builders. Priors pooled from 5, 50 and 500 of its members, each at some
point of a build, then stand beside the built-in ones for newcomers to the club, and for builders who are
unlike it. So do two that no club has: what is true of the club, and the priors of the largest club with no
built-in belief beside them. With --work the members and cases so far are kept there, and a run that was
broken off goes on.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from importlib.metadata import version
from math import exp, log
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.invented.workshop import Scenario, SyntheticBuild, play_scenario
from benchmarks.invented.workshop.kinds import draw_order, draw_reports
from benchmarks.invented.workshop.random_kit import TYPES, draw_plan
from benchmarks.invented.workshop.scenario import pair_effects, true_tasks
from benchmarks.invented.workshop.truth import BeyondTruth, EffortTruth, HabitTruth
from forecast.files.logbook import Builder
from forecast.learn.effort import Normal
from forecast.learn.pooled_priors import BUILT_IN_WEIGHT, PooledPriors
from forecast.many.pool import pool_priors
from forecast.many.summary import BuildSummary, summary_of
from forecast.questions.scores import crps
from forecast.simulate.finish import forecast_finish
from forecast.simulate.fitted import fit_build
from forecast.simulate.settings import Settings
from forecast.wording import format_percent

CLUBS = (5, 50, 500)
EARLY, LATER = (0.02, 0.05, 0.10), (0.25, 0.50, 0.75)
UNLIKE = (0.05, 0.10, *LATER)
BUILT_IN, ALONE, TRUE = "built in", f"{CLUBS[-1]} alone", "truth"
TASKS = 80
_LONGEST_DAYS = 15 * 365
# Monday to Sunday: chance of a session in a worked week.
EVENINGS = (0.6, 0.6, 0.6, 0.55, 0.2, 0.6, 0.5)
WEEKENDS = (0.05, 0.05, 0.05, 0.05, 0.2, 0.85, 0.8)


# How far members of a club lie apart, whatever club: standard deviations, and how many tasks or hours the
# chances and rates of each scatter as if seen on.
APART = {"level": 0.15, "type_level": 0.12, "size_slope": 0.05, "learning": 0.04, "repeat": 0.1}
SIZE_SLOPE, SPREAD, SPREADS_APART, TYPE_SPREADS = 0.93, 0.38, 0.15, 0.2
REWORK_TASKS, EVENTS = 20.0, 4.0
OUTSIDE_PER_HOUR, ADDED_PER_HOUR = 0.01, 0.002


@dataclass(frozen=True, kw_only=True)
class Like:
    """Where builders of one sort lie: centres, and how far each type of work is from the others."""

    level: float
    learning: float
    repeat: float
    rework: float
    day_chance: tuple[float, ...]
    session_hours: float
    stop_chance: float
    long_chance: float
    type_effect: Mapping[str, float]


def club(seed: int) -> Like:
    """An optimistic guide (hours at 55 % of what they come to), steep learning, short evenings."""
    rng = np.random.default_rng([seed, 1])
    effects = 0.3 * rng.standard_normal(len(TYPES))
    return Like(
        level=0.6,
        learning=log(0.82) / log(2),
        repeat=log(0.75),
        rework=0.2,
        day_chance=EVENINGS,
        session_hours=1.8,
        stop_chance=0.18,
        long_chance=0.05,
        type_effect=dict(zip(TYPES, effects.tolist(), strict=True)),
    )


def unlike(seed: int) -> Like:
    """Below the guide, hardly any learning, long days at weekends: nobody in the club is like that."""
    rng = np.random.default_rng([seed, 2])
    effects = 0.3 * rng.standard_normal(len(TYPES))
    return Like(
        level=-0.3,
        learning=log(0.97) / log(2),
        repeat=log(1.0),
        rework=0.03,
        day_chance=WEEKENDS,
        session_hours=5.0,
        stop_chance=0.06,
        long_chance=0.05,
        type_effect=dict(zip(TYPES, effects.tolist(), strict=True)),
    )


def member(like: Like, seed: int) -> SyntheticBuild:
    """One builder of that sort, with a plan of their own, played to the end."""
    rng = np.random.default_rng([seed, 3])
    plan, deliveries = draw_plan(TASKS, rng)
    effort = _effort(like, rng)
    start = date(2018, 1, 1) + timedelta(days=int(rng.integers(0, 1400)))
    scenario = Scenario(
        name=f"Member {seed}",
        country=None,
        builders=(Builder(id="A"),),
        limits=(),
        plan=plan,
        deliveries=deliveries,
        away=(),
        start=start,
        tasks=true_tasks(plan),
        pair_effect=pair_effects(plan, effort, rng),
        effort=effort,
        beyond=BeyondTruth(
            rework_chance=rng.beta(REWORK_TASKS * like.rework, REWORK_TASKS * (1 - like.rework)),
            outside_per_hour=rng.gamma(EVENTS, OUTSIDE_PER_HOUR),
            outside_hours=rng.uniform(1.5, 2.5),
            added_per_hour=min(rng.gamma(EVENTS, ADDED_PER_HOUR), 0.02),
            added_hours=rng.uniform(3.0, 5.0),
        ),
        reports=draw_reports(rng),
        habit=_habit(like, rng),
        order=draw_order(rng),
    )
    level = scenario.habit.level_sd * float(rng.standard_normal())
    return play_scenario(replace(scenario, first_level=level), seed)


def _effort(like: Like, rng: np.random.Generator) -> EffortTruth:
    slope = rng.normal(like.learning, APART["learning"])
    slopes = np.minimum(slope + APART["learning"] * rng.standard_normal(len(TYPES)), 0.0)
    effects = [like.type_effect[t] + rng.normal(0.0, APART["type_level"]) for t in TYPES]
    spreads = SPREAD * exp(rng.normal(0.0, SPREADS_APART))
    spreads = spreads * np.exp(TYPE_SPREADS * rng.standard_normal(len(TYPES)))
    return EffortTruth(
        level=rng.normal(like.level, APART["level"]),
        size_slope=rng.normal(SIZE_SLOPE, APART["size_slope"]),
        type_effect=dict(zip(TYPES, effects, strict=True)),
        learning_slope=dict(zip(TYPES, slopes.tolist(), strict=True)),
        luck_sd=dict(zip(TYPES, spreads.tolist(), strict=True)),
        repeat=rng.normal(like.repeat, APART["repeat"]),
        pair_sd=abs(rng.normal(0.0, 0.2)),
        drift_sd=abs(rng.normal(0.0, 0.15)),
        drift_tasks=rng.uniform(15.0, 120.0),
        shared_penalty=exp(rng.normal(log(1.14), 0.06)),
    )


def _habit(like: Like, rng: np.random.Generator) -> HabitTruth:
    days = np.minimum(np.array(like.day_chance) * np.exp(0.2 * rng.standard_normal(7)), 0.9)
    return HabitTruth(
        day_chance=tuple(days.tolist()),
        session_hours=like.session_hours * exp(rng.normal(0.0, 0.18)),
        stop_chance=like.stop_chance * exp(rng.normal(0.0, 0.2)),
        short_silence_weeks=1.8 * exp(rng.normal(0.0, 0.2)),
        long_silence_weeks=7.0 * exp(rng.normal(0.0, 0.2)),
        long_chance=like.long_chance,
        level_sd=rng.uniform(0.35, 0.6),
        level_weeks=rng.uniform(12.0, 40.0),
        helper_chance=rng.uniform(0.04, 0.15),
        asked_chance=rng.uniform(0.3, 0.8),
    )


def said_by(made: SyntheticBuild) -> BuildSummary:
    """What a member says of the builders of the club, cut somewhere between 30 % and the end."""
    as_of = made.cut(float(np.random.default_rng([made.seed, 4]).uniform(0.3, 1.0)))
    return summary_of(fit_build(made.as_known_on(as_of), as_of, Settings(seed=made.seed)))


def summaries(count: int, seed: int, work: Path | None) -> list[BuildSummary]:
    """What the first members of the club say, each cut somewhere between 30 % and the end."""
    kept = work / "members.jsonl" if work else None
    known = kept.read_text(encoding="utf-8").splitlines()[:count] if kept and kept.exists() else []
    found = [BuildSummary.from_dict(json.loads(line)) for line in known]
    for number in range(len(found), count):
        found.append(said_by(member(club(seed), seed + 10_000 + number)))
        if kept:
            with kept.open("a", encoding="utf-8") as file:
                file.write(json.dumps(found[-1].to_dict()) + "\n")
        if number % 25 == 24:
            print(f"{number + 1} of {count} members", flush=True)
    return found


def true_priors(like: Like, taught: PooledPriors) -> PooledPriors:
    """What is true of a club, of effort; of habits, which the model sees in its own way, what many taught.

    The best that pooling can come to: what estimating the club costs shows against it.
    """
    effort = replace(
        taught.effort,
        built_in_weight=0.0,
        degrees=np.inf,
        level=Normal(centre=like.level, sd=APART["level"]),
        size_slope=Normal(centre=SIZE_SLOPE, sd=APART["size_slope"]),
        learning=Normal(centre=like.learning, sd=APART["learning"]),
        repeat=Normal(centre=like.repeat, sd=APART["repeat"]),
        type_level=dict(like.type_effect),
        type_level_scale=APART["type_level"],
        type_learning={},
        type_learning_scale=APART["learning"],
        log_spread=Normal(centre=log(SPREAD), sd=SPREADS_APART),
        type_spread_scale=TYPE_SPREADS,
        beyond=replace(
            taught.effort.beyond,
            rework_chance=(REWORK_TASKS * like.rework, REWORK_TASKS * (1 - like.rework)),
            outside_per_hour=(EVENTS, 1 / OUTSIDE_PER_HOUR),
            growth_per_hour=(EVENTS, 1 / ADDED_PER_HOUR),
        ),
    )
    return replace(taught, effort=effort, bench=replace(taught.bench, built_in_weight=0.0))


def alone(pooled: PooledPriors) -> PooledPriors:
    """Pooled priors with no built-in belief beside them."""
    return replace(
        pooled,
        effort=replace(pooled.effort, built_in_weight=0.0),
        bench=replace(pooled.bench, built_in_weight=0.0),
    )


class Clubs:
    """The priors of a club of so many members; each newcomer joins another one where there are enough."""

    def __init__(self, seed: int, work: Path | None) -> None:
        self.seed, self.work = seed, work
        self.known: dict[tuple[int, int], PooledPriors] = {}

    def priors(self, newcomer: int, label: str) -> PooledPriors | None:
        """Those that a column is about."""
        if label == BUILT_IN:
            return None
        if label == TRUE:
            return true_priors(club(self.seed), self.pooled(newcomer, CLUBS[-1]))
        if label == ALONE:
            return alone(self.pooled(newcomer, CLUBS[-1]))
        return self.pooled(newcomer, int(label))

    def pooled(self, newcomer: int, size: int) -> PooledPriors:
        """Clubs of up to 50 members come out of the first 100 of them."""
        among = max(size, 100)
        first = size * (newcomer % (among // size))
        if (size, first) not in self.known:
            said = summaries(among, self.seed, self.work)
            self.known[size, first] = pool_priors(said[first : first + size])
        return self.known[size, first]


@dataclass(frozen=True, kw_only=True)
class Asked:
    """One builder to be forecast on some days of the build, with some priors."""

    sort: str
    number: int
    cuts: tuple[float, ...]
    priors: tuple[str, ...]

    @property
    def key(self) -> tuple[str, int, str]:
        """What tells it apart in the file of cases: the first of its priors stands for all."""
        return self.sort, self.number, self.priors[0]


def asked_of(newcomers: int, strangers: int) -> list[Asked]:
    """The small clubs first, so that a run that is broken off has something to show."""
    small, largest = (BUILT_IN, *map(str, CLUBS[:-1])), str(CLUBS[-1])
    new, cuts, large = range(newcomers), EARLY + LATER, (largest, ALONE)
    out = [Asked(sort="newcomer", number=n, cuts=cuts, priors=small) for n in new]
    out += [Asked(sort="unlike", number=n, cuts=UNLIKE, priors=(BUILT_IN,)) for n in range(strangers)]
    out += [Asked(sort="unlike", number=n, cuts=UNLIKE, priors=large) for n in range(strangers)]
    out += [Asked(sort="newcomer", number=n, cuts=cuts, priors=(*large, TRUE)) for n in new]
    return out


def cases(asked: Asked, clubs: Clubs, runs: int, seed: int) -> Iterator[dict[str, object]]:
    """The score of each forecast of one builder, day by day."""
    newcomer = asked.sort == "newcomer"
    like, first = (club(seed), 20_000) if newcomer else (unlike(seed), 30_000)
    made = member(like, seed + first + asked.number)
    for at in asked.cuts:
        pooled = {label: clubs.priors(asked.number, label) for label in asked.priors}
        for row in scored(made, at, pooled, runs):
            yield {"sort": asked.sort, "builder": asked.number, "asked": asked.priors[0]} | row


def scored(
    made: SyntheticBuild, at: float, priors: Mapping[str, PooledPriors | None], runs: int
) -> Iterator[dict[str, object]]:
    """The score of each forecast of a build of which the share `at` of its hours is in the log."""
    as_of = made.cut(at)
    known = made.as_known_on(as_of)
    actual = min((made.truth.build_finish - as_of).days, _LONGEST_DAYS)
    for label, pooled in priors.items():
        outlook = forecast_finish(known, as_of, Settings(runs=runs, seed=made.seed, priors=pooled))
        days = np.minimum(np.ceil(outlook.days(None)), _LONGEST_DAYS)
        yield {
            "at": at,
            "priors": label,
            "days": actual,
            "crps": float(crps(days, actual, estimator="fair")),
            "middle": float(np.median(days)),
            "inside_80": bool(np.quantile(days, 0.1) <= actual <= np.quantile(days, 0.9)),
            "hours": float(np.median(outlook.person_hours_left(None))),
        }


def run_study(newcomers: int, strangers: int, runs: int, seed: int, work: Path | None) -> pd.DataFrame:
    """Every case: newcomers to the club, and builders unlike it."""
    kept = work / "cases.csv" if work else None
    found = pd.DataFrame()
    if kept and kept.exists():
        found = pd.read_csv(kept, dtype={"priors": str, "asked": str})
    seen = set(zip(found["sort"], found["builder"], found["asked"], strict=True)) if len(found) else set()
    clubs = Clubs(seed, work)
    for asked in asked_of(newcomers, strangers):
        if asked.key in seen:
            continue
        rows = list(cases(asked, clubs, runs, seed))
        found = pd.concat([found, pd.DataFrame(rows)], ignore_index=True)
        if kept:
            found.to_csv(kept, index=False)
        print(f"{asked.sort} {asked.number + 1}, priors {', '.join(asked.priors)}", flush=True)
    return found


def table(found: pd.DataFrame, rng: np.random.Generator) -> list[str]:
    """A Markdown table: one row a cut, the mean CRPS of each and its ratio to the built-in priors."""
    labels = [p for p in (BUILT_IN, *map(str, CLUBS), ALONE, TRUE) if (found["priors"] == p).any()]
    pooled = labels[1:]
    heads = ["at", "builders", "days ahead", f"CRPS, {BUILT_IN}", *(f"/ by {p}" for p in pooled)]
    heads += [f"80 %, {p}" for p in labels]
    lines = [f"| {' | '.join(heads)} |", "|" + "---|" * len(heads)]
    groups = [(f"{at:.0%}", part) for at, part in found.groupby("at")]
    for name, cuts in (("first 10 %", EARLY), ("later", LATER)):
        groups.append((name, found.loc[found["at"].isin(cuts)]))
    for name, part in groups:
        score = part.pivot_table(index=["builder", "at"], columns="priors", values="crps")
        cells = [name, str(part["builder"].nunique()), f"{part['days'].mean():.0f}"]
        cells += [f"{score[BUILT_IN].mean():.0f}"]
        cells += [_ratio(score, p, rng) for p in pooled]
        cells += [f"{part.loc[part['priors'] == p, 'inside_80'].mean():.2f}" for p in labels]
        lines.append(f"| {' | '.join(cells)} |")
    return [*lines, ""]


def _ratio(score: pd.DataFrame, label: str, rng: np.random.Generator) -> str:
    """Ratio of mean scores, with its standard error from drawing the builders again."""
    both = score[[label, BUILT_IN]].dropna()
    by_builder = both.groupby("builder").sum().to_numpy()
    pick = rng.integers(len(by_builder), size=(1000, len(by_builder)))
    again = by_builder[pick].sum(axis=1)
    ratio = by_builder.sum(axis=0)
    return f"{ratio[0] / ratio[1]:.2f} +- {np.std(again[:, 0] / again[:, 1]):.2f}"


def report(found: pd.DataFrame, runs: int, seed: int) -> str:
    """The whole page."""
    rng = np.random.default_rng(seed)
    versions = ", ".join(f"{p} {version(p)}" for p in ("numpy", "pandas", "scipy", "numba"))
    there = found.groupby("sort")["builder"].nunique()
    counts = f"--newcomers {there['newcomer']} --strangers {there['unlike']}"
    lines = [
        "# Pooled priors",
        "",
        f"`python -m benchmarks.skill.pooled_priors {counts} --runs {runs} --seed {seed}`; {versions}.",
        "",
        f"Invented builds of about {TASKS} tasks. The club's members build to a guide whose hours are 55 %",
        "of what the work comes to, learn at 82 % a doubling, redo one task in five and build on short",
        "evenings; they differ from each other. Priors were pooled from 5, 50 and 500 of them, each cut",
        "somewhere between 30 % of its hours and its end; twenty clubs of 5 and two of 50 are taken in turn.",
        "CRPS of the day on which the whole build is finished, in days, and its ratio (+-",
        "one standard error over builders) to that with the built-in priors, on the same draws. `80 %`: how",
        "often the central 80 % range held what came. `500 alone`: the same pooled priors with no built-in",
        f"belief beside them (else {format_percent(BUILT_IN_WEIGHT)}, before the log speaks). `truth`: what",
        "is true of the club's effort and rework, in place of what 500 members show (habits as pooled).",
        "",
        "## Newcomers to the club",
        "",
        *table(found.loc[found["sort"] == "newcomer"], rng),
        "## Builders unlike the club",
        "",
        "Below the guide's hours, hardly any learning, long days at weekends.",
        "",
        *table(found.loc[found["sort"] == "unlike"], rng),
    ]
    return "\n".join(lines)


def main() -> None:
    """Run the study and write its table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--newcomers", type=int, default=32)
    parser.add_argument("--strangers", type=int, default=40)
    parser.add_argument("--runs", type=int, default=300)
    parser.add_argument("--seed", type=int, default=20261127)
    parser.add_argument("--work", type=Path, help="keep members and cases here, and go on from them")
    parser.add_argument("--page", action="store_true", help="write the page of the cases so far, and stop")
    asked = parser.parse_args()
    if asked.page:
        asked.newcomers = asked.strangers = 0
    if asked.work is not None:
        asked.work.mkdir(parents=True, exist_ok=True)
    found = run_study(asked.newcomers, asked.strangers, asked.runs, asked.seed, asked.work)
    page = report(found, asked.runs, asked.seed)
    print(page)
    Path(__file__).with_suffix(".md").write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
