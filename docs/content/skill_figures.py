"""The findings of the studies that the skill page shows, each from the table that the study wrote.

Titles are computed from the figures that are drawn, so that they stay true when a study is run again.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from docs.content.skill_charts import Axis, SkillFigure, calibration_chart, dot_chart, table_of
from docs.content.skill_tables import builds_of, study_table, value_and_error

_POINTS = {0.1: "a tenth", 0.25: "a quarter", 0.5: "half", 0.75: "three quarters"}
_TARGETS = {
    "open stage": "Finish of the open stage",
    "build": "Finish of the whole build",
    "next 13 weeks": "Hours in the next 13 weeks",
    "next 20 tasks": "Hours of the next 20 tasks",
}
_EFFORT = {
    "model": "as the model assumes",
    "tails": "heavy tails",
    "unlearned": "no learning",
    "mislabelled": "wrong types, missing plans",
    "records": "resampled task records",
}
_RATIO_TICKS = (0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1, 1.25, 1.5)
_COVERAGE = "Values inside the 80 % range (percent)"
_CRPS = "CRPS / CRPS of the yardstick (below 1: better)"


def finish_coverage() -> SkillFigure:
    """How often the 80 % ranges of dates and hours contained what came."""
    found = study_table("finish", "All kinds")
    frame = _with_binomial_whiskers(
        pd.DataFrame(
            {
                "row": found["target"].map(_TARGETS),
                "series": found["at"].map(_POINTS),
                "value": 100 * found["80 %"],
                "trials": found["cases"],
            }
        )
    )
    return SkillFigure(
        study="finish",
        title=f"80 % ranges contained the date or hours in {_span(frame['value'])} % of cases",
        caption=(
            f"{found['cases'].iloc[0]:.0f} invented builds, each forecast when a quarter, half and three "
            "quarters of its hours were done. Whiskers: two standard errors. Dashed: 80 %."
        ),
        chart=dot_chart(frame, Axis(title=_COVERAGE, ends=(65, 95), nominal=80), series_title="Hours done"),
        table=table_of(frame, row="Inside the 80 % range, percent", digits=1),
    )


def finish_error() -> SkillFigure:
    """The error of finish dates beside that of simple forecasts and of the oracle."""
    ways = {
        "/ average pace": "average pace",
        "/ recent pace": "recent pace",
        "/ plan alone": "planned hours",
        "/ oracle": "oracle",
    }
    found = study_table("finish", "All kinds")
    found = found.loc[found["target"].isin(["open stage", "build"])].sort_values("target", kind="stable")
    frame = found.melt(id_vars=["target", "at"], value_vars=list(ways), var_name="row")
    frame = frame.assign(
        panel=frame["target"].map(_TARGETS), row=frame["row"].map(ways), series=frame["at"].map(_POINTS)
    ).sort_values("panel", kind="stable", ascending=False)
    frame = frame.assign(low=frame["value"], high=frame["value"])
    pace = frame.loc[frame["row"] == "average pace", "value"]
    return SkillFigure(
        study="finish",
        title=f"The error of a finish date is {_span(pace, digits=2)} times that of the average pace",
        caption=(
            "Ratios of mean CRPS over the same invented builds. The oracle knows every parameter the "
            "build was made with. Dashed: equal to the yardstick."
        ),
        chart=dot_chart(
            frame,
            Axis(title=_CRPS, ends=(0.4, 1.6), nominal=1, ticks=_RATIO_TICKS),
            series_title="Hours done",
        ),
        table=table_of(frame, row="CRPS over that of", digits=2, panel="Target"),
    )


def finish_limits() -> SkillFigure:
    """What the error of a finish date would be if part of the truth were known."""
    names = {
        "program": "as it is",
        "habit spread known": "knowing how builders differ",
        "habit known": "knowing the builder's habit",
        "work known": "knowing the hours of the work",
        "oracle": "knowing both (oracle)",
    }
    parts = []
    for heading, target in (("Open stage", "open stage"), ("Build", "build")):
        found = study_table("finish_limits", heading)
        found = found.loc[found["way"].isin(names)]
        ratio = value_and_error(found["/ average pace"])
        parts.append(
            pd.DataFrame(
                {
                    "row": found["way"].map(names),
                    "series": _TARGETS[target],
                    "value": ratio["value"],
                    "low": ratio["value"] - ratio["error"],
                    "high": ratio["value"] + ratio["error"],
                }
            )
        )
    frame = pd.concat(parts)
    build = frame.loc[frame["series"] == _TARGETS["build"]].set_index("row")["value"]
    best = build.loc[["knowing the builder's habit", "knowing the hours of the work"]].idxmin()
    return SkillFigure(
        study="finish_limits",
        title=(
            f"Knowing everything would lower the error of the finish from {build['as it is']:.2f} to "
            f"{build['knowing both (oracle)']:.2f}; {best} alone to {build[best]:.2f}"
        ),
        caption=(
            "Mean CRPS of the finish date over that of the average pace, on invented builds. Whiskers: one "
            "standard error. Dashed: equal to the average pace."
        ),
        chart=dot_chart(
            frame, Axis(title=_CRPS, ends=(0.4, 1.1), nominal=1, ticks=_RATIO_TICKS), series_title="Target"
        ),
        table=table_of(frame, row="CRPS over that of the average pace", digits=2),
    )


def hours_coverage() -> SkillFigure:
    """How often the 80 % range of the hours left contained the true total."""
    found = study_table("effort", _effort_heading())
    frame = pd.DataFrame(
        {
            "row": found["kind"].map(_EFFORT),
            "series": found["share"].map(_POINTS),
            "value": found["80 % of total"],
            "trials": builds_of("effort"),
        }
    )
    frame = _with_binomial_whiskers(frame)
    return SkillFigure(
        study="effort",
        title=f"80 % ranges of the hours left contained the true total in {_span(frame['value'])} % of cases",
        caption=(
            f"{builds_of('effort')} invented builds of each kind, forecast when that share of the "
            "tasks was finished. Whiskers: two standard errors. Dashed: 80 %."
        ),
        chart=dot_chart(
            frame, Axis(title=_COVERAGE, ends=(65, 95), nominal=80), series_title="Tasks finished"
        ),
        table=table_of(frame, row="Inside the 80 % range, percent", digits=1),
    )


def hours_error() -> SkillFigure:
    """The error of the hours left beside independent draws per task."""
    found = study_table("effort", _effort_heading())
    frame = pd.DataFrame(
        {
            "row": found["kind"].map(_EFFORT),
            "series": found["share"].map(_POINTS),
            "value": found["/ independent"],
            "low": found["/ independent"],
            "high": found["/ independent"],
        }
    )
    return SkillFigure(
        study="effort",
        title=f"The error of the hours left is {_span(frame['value'], 2)} times that of independent draws",
        caption=(
            "Ratio of the mean CRPS of the remaining total to that of lognormal draws made independently for "
            "each task from its type's record. Dashed: equal."
        ),
        chart=dot_chart(
            frame,
            Axis(title=_CRPS, ends=(0.18, 1.1), nominal=1, ticks=_RATIO_TICKS),
            series_title="Tasks finished",
        ),
        table=table_of(frame, row="CRPS over that of independent draws", digits=2),
    )


def overruns_declared() -> SkillFigure:
    """How many of the types that were declared over their estimate truly were."""
    found = study_table("effort", "The same over all kinds")
    frame = pd.DataFrame(
        {
            "row": found["share"].map(_POINTS),
            "series": "types",
            "value": found["over"],
            "trials": found["declared"],
        }
    )
    frame = _with_binomial_whiskers(frame)
    return SkillFigure(
        study="effort",
        title=(
            "Of the types of work declared over their estimate (more than 80 % sure), "
            f"{_span(frame['value'])} % were"
        ),
        caption=(
            f"{found['declared'].sum():,.0f} declarations on invented builds, by the share of the tasks "
            "that was finished. Whiskers: two standard errors, as if types of one build were independent. "
            "Dashed: 80 %."
        ),
        chart=dot_chart(
            frame,
            Axis(title="Truly over their estimate (percent)", ends=(75, 100), nominal=80),
            series_title="",
        ),
        table=table_of(frame, row="Tasks finished", digits=1).rename(
            columns={"types": "Truly over, percent"}
        ),
    )


def bench_coverage() -> SkillFigure:
    """How often the 80 % range of the hours to come contained them, beside two simple ways."""
    ways = {
        "model": "benchdays",
        "13-week blocks": "13-week blocks",
        "independent weeks": "independent weeks",
    }
    found = study_table("bench_time")
    found = found.loc[found["way"].isin(ways)]
    frame = pd.DataFrame(
        {
            "panel": found["habit"].str.capitalize(),
            "row": found["weeks"].astype(int).map("next {} weeks".format),
            "series": found["way"].map(ways),
            "value": 100 * found["80 %"].astype(float),
        }
    )
    frame = frame.assign(low=frame["value"], high=frame["value"])
    model, naive = (frame.loc[frame["series"] == way, "value"] for way in ("benchdays", "independent weeks"))
    return SkillFigure(
        study="bench_time",
        title=(
            f"80 % ranges of the coming hours contain {_span(model)} % of them; "
            f"with independent weeks only {_span(naive)} %"
        ),
        caption=(
            "200 invented logs per habit, each continued 20 times. 13-week blocks: past quarters resampled. "
            "Dashed: 80 %."
        ),
        chart=dot_chart(frame, Axis(title=_COVERAGE, ends=(0, 100), nominal=80), series_title="Forecast"),
        table=table_of(frame, row="Of", digits=1, panel="Habit"),
    )


def tonight_calibration() -> SkillFigure:
    """Whether the chances of finishing a task tonight are right."""
    found = study_table("tonight")
    band = found["band"].str.split(" to ", expand=True).astype(float)
    frame = pd.DataFrame(
        {
            "chance": 100 * found["mean chance"],
            "share": 100 * found["finished"],
            "low": 100 * band[0],
            "high": 100 * band[1],
        }
    )
    likely = found.loc[found["given"] == "70% to 90%"].iloc[0]
    return SkillFigure(
        study="tonight",
        title=(
            f"Of {likely['tasks']:.0f} tasks given a 70 to 90 % chance tonight, "
            f"{100 * likely['finished']:.0f} % were finished"
        ),
        caption=(
            "Tasks of invented builds, grouped by the stated chance. Whiskers: 95 % bands. "
            "Dashed: chance = share."
        ),
        chart=calibration_chart(frame, "Mean stated chance (percent)", "Finished in the session (percent)"),
        table=found[["given", "tasks", "mean chance", "finished"]]
        .astype({"tasks": int})
        .set_axis(["Stated chance", "Tasks", "Mean chance", "Finished"], axis="columns"),
    )


def crew_gain() -> SkillFigure:
    """How often the 80 % range of a second builder's gain contained the true gain."""
    found = study_table("crew")
    together = found.loc[found["effort"] == "all"].iloc[0]
    found = found.loc[found["effort"] != "all"]
    frame = pd.DataFrame(
        {
            "row": found["effort"],
            "series": found["habit"],
            "value": 100 * found["80 % covers"],
        }
    )
    frame = frame.assign(low=frame["value"], high=frame["value"])
    return SkillFigure(
        study="crew",
        title=(
            "The 80 % range of the days that a second builder gains contained "
            f"{100 * together['80 % covers']:.0f} % of the true gains"
        ),
        caption=(
            f"{together['builds']:.0f} invented builds of two, cut at half their hours, played on with and "
            "without the second builder. Dashed: 80 %; above it the ranges are wider than they need be."
        ),
        chart=dot_chart(frame, Axis(title=_COVERAGE, ends=(65, 95), nominal=80), series_title="Habit"),
        table=table_of(frame, row="Inside the 80 % range, percent", digits=0),
    )


def pooled_priors() -> SkillFigure:
    """What priors pooled from other builds are worth to somebody who has just begun."""
    found = study_table("pooled_clubs")
    found = found.loc[found["at"].str.fullmatch(r"\d+%")]
    parts = []
    for members in (5, 50):
        ratio = value_and_error(found[f"/ by {members}"])
        parts.append(
            pd.DataFrame(
                {
                    "row": found["at"].str.replace("%", " % done"),
                    "series": f"{members} builds",
                    "value": ratio["value"],
                    "low": ratio["value"] - ratio["error"],
                    "high": ratio["value"] + ratio["error"],
                }
            )
        )
    frame = pd.concat(parts)
    many = frame.loc[frame["series"] == "50 builds", "value"]
    return SkillFigure(
        study="pooled_clubs",
        title=(
            f"Priors pooled from 50 similar builds lower a beginner's error to {many.iloc[0]:.2f} of what it "
            f"was, and change little ({many.iloc[-1]:.2f}) when three quarters are done"
        ),
        caption=(
            "Mean CRPS of the finish date over that with the built-in priors; invented clubs whose builders "
            "share a guide. Whiskers: one standard error. Dashed: no difference."
        ),
        chart=dot_chart(
            frame,
            Axis(title=_CRPS, ends=(0.4, 1.1), nominal=1, ticks=_RATIO_TICKS),
            series_title="Pooled from",
        ),
        table=table_of(frame, row="CRPS over that with built-in priors", digits=2),
    )


FIGURES: dict[str, Callable[[], SkillFigure]] = {
    "finish-coverage": finish_coverage,
    "finish-error": finish_error,
    "finish-limits": finish_limits,
    "hours-coverage": hours_coverage,
    "hours-error": hours_error,
    "overruns-declared": overruns_declared,
    "bench-coverage": bench_coverage,
    "tonight-calibration": tonight_calibration,
    "crew-gain": crew_gain,
    "pooled-priors": pooled_priors,
}


def _effort_heading() -> str:
    return "In short: coverage of 80 % ranges, CRPS of the remaining total and its ratio to others"


def _with_binomial_whiskers(frame: pd.DataFrame) -> pd.DataFrame:
    """Columns low and high: two binomial standard errors of a percentage on each side."""
    error = 2 * np.sqrt(frame["value"] * (100 - frame["value"]) / frame["trials"])
    return frame.assign(low=frame["value"] - error, high=(frame["value"] + error).clip(upper=100))


def _span(values: pd.Series, digits: int = 0) -> str:
    """The least and the greatest value, as they are printed.

    >>> _span(pd.Series([0.52, 0.6]), digits=2)
    '0.52 to 0.60'
    """
    low, high = f"{values.min():.{digits}f}", f"{values.max():.{digits}f}"
    return low if low == high else f"{low} to {high}"
