"""Of the tasks to which `tonight` gives a chance of 70 to 90 %, are 70 to 90 % finished in the session?

    python -m benchmarks.skill.tonight [--builds 60] [--tasks 120] [--seed 900]

Builds with a known truth are cut at several points. Every ready task gets its chance of being finished by one
person in sessions of three lengths; the truth knows how many person-hours it still took. A task that was
finished later, after some practice, took slightly less than it would have that evening; rework is left out on
both sides.
"""

from __future__ import annotations

import argparse
import sys
from datetime import date

import numpy as np
import pandas as pd

from benchmarks.command_line import command_of, parser_of
from benchmarks.invented.workshop import EFFORT_KINDS, SyntheticBuild, make_build
from benchmarks.pages import markdown, versions, write_page
from forecast.learn.bench_time import BenchTime
from forecast.learn.effort import EffortModel
from forecast.learn.progress import read_progress
from forecast.questions.readiness import readiness
from forecast.questions.scores import clopper_pearson
from forecast.questions.tonight import chance_of_finishing, draw_hours_left
from forecast.simulate.fitted import Fitted
from forecast.simulate.network import network_of

POINTS = (0.1, 0.25, 0.5, 0.75, 0.9)
SESSIONS = (1.5, 3.0, 5.0)
# Narrow at both ends, where most tasks lie.
EDGES = np.array([0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0])
DRAWS = 2_000


def chances(made: SyntheticBuild, as_of: date, seed: int) -> pd.DataFrame:
    """One row per ready task and length of session: chance, done, under way."""
    build = made.as_known_on(as_of)
    progress = read_progress(build.plan, build.sessions, as_of)
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(as_of.toordinal(),)))
    fitted = Fitted(
        build=build,
        progress=progress,
        effort=EffortModel().fit(progress, rng),
        bench=BenchTime(),
        network=network_of(build.plan, progress, build.deliveries, as_of, limits=build.limits),
    )
    left = draw_hours_left(fitted, DRAWS, rng)
    spent = progress.tasks.set_index("task")["hours_first"]
    state = readiness(fitted, 1)
    rows = []
    for i in state.ready:
        task = state.tasks[i].task
        truly_left = made.truth.total_hours[task] - spent[task]
        if truly_left <= 0:  # only rework was left
            continue
        for hours in SESSIONS:
            chance = chance_of_finishing(left[:, i], hours, 1)
            rows.append(
                {
                    "hours": hours,
                    "chance": chance,
                    "done": truly_left <= hours + 1e-9,
                    "under way": spent[task] > 0,
                }
            )
    return pd.DataFrame(rows)


def study(builds: int, tasks: int, first_seed: int) -> pd.DataFrame:
    """The chances of many builds, with their kind and the point of the build."""
    parts = []
    for n in range(builds):
        kind = EFFORT_KINDS[n % len(EFFORT_KINDS)]
        made = make_build(effort=kind, seed=first_seed + n, tasks=tasks)
        for point in POINTS:
            found = chances(made, made.cut(point), first_seed + n)
            parts.append(found.assign(kind=kind, point=point))
        sys.stderr.write(f"{n + 1} of {builds} builds\n")
    return pd.concat(parts, ignore_index=True)


def bins(found: pd.DataFrame) -> pd.DataFrame:
    """Per bin of the chance: tasks, mean chance, share that was finished, and its 95 % band."""
    place = np.clip(np.searchsorted(EDGES, found["chance"], side="right") - 1, 0, len(EDGES) - 2)
    rows = []
    for k in range(len(EDGES) - 1):
        mine = found.loc[place == k]
        if mine.empty:
            continue
        low, high = clopper_pearson(int(mine["done"].sum()), len(mine))
        rows.append(
            {
                "given": f"{EDGES[k]:.0%} to {EDGES[k + 1]:.0%}",
                "tasks": len(mine),
                "mean chance": mine["chance"].mean(),
                "finished": mine["done"].mean(),
                "band": f"{low:.3f} to {high:.3f}",
            }
        )
    return pd.DataFrame(rows)


def report(found: pd.DataFrame, given: argparse.Namespace) -> list[str]:
    """The lines of tonight.md."""
    return [
        "# Tonight: are the chances right?",
        "",
        f"`{command_of(__file__, given)}`; {versions('numpy', 'pandas')}.",
        "Tasks of one build share its drift, which the bands ignore: they are too narrow.",
        "",
        *_table(bins(found)),
        "",
        "Given a chance of 70 to 90 %, by properties of the task and the build:",
        "",
        *_table(_by_property(found.loc[found["chance"].between(0.7, 0.9)])),
    ]


def _by_property(found: pd.DataFrame) -> pd.DataFrame:
    rows = []
    for column in ("kind", "point", "hours", "under way"):
        for value, mine in found.groupby(column):
            rows.append(
                {
                    "of": f"{column} {value}",
                    "tasks": len(mine),
                    "mean chance": mine["chance"].mean(),
                    "finished": mine["done"].mean(),
                }
            )
    return pd.DataFrame(rows)


def _table(table: pd.DataFrame) -> list[str]:
    rows = (
        [f"{v:.3f}" if isinstance(v, float) else str(v) for v in row] for row in table.itertuples(index=False)
    )
    return markdown(list(table), rows)


def main() -> None:
    """Run the study and write tonight.md."""
    given = parser_of(__doc__, builds=60, tasks=120, seed=900).parse_args()
    write_page(__file__, report(study(given.builds, given.tasks, given.seed), given))


if __name__ == "__main__":
    main()
