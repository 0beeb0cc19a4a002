"""The invented builds of sample_logs/, each from a seed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from benchmarks.invented.workshop import dinghy, dunlin, turnstone
from benchmarks.invented.workshop.build import SyntheticBuild
from benchmarks.invented.workshop.writer import write_build


@dataclass(frozen=True, kw_only=True)
class Sample:
    """How a sample is made, the last day of its folder, and the text of its README.md."""

    make: Callable[[], SyntheticBuild]
    until: date
    about: str


SAMPLES = {
    "turnstone": Sample(make=turnstone.turnstone, until=turnstone.UNTIL, about=turnstone.ABOUT),
    "dunlin": Sample(make=dunlin.dunlin, until=dunlin.UNTIL, about=dunlin.ABOUT),
    "dinghy": Sample(make=dinghy.dinghy, until=dinghy.UNTIL, about=dinghy.ABOUT),
}


def write_sample(name: str, folder: Path | str) -> SyntheticBuild:
    """Write the folder of a sample and its README.md.

    Returns
    -------
    the whole build, from which the folder was cut
    """
    sample = SAMPLES[name]
    synthetic = sample.make()
    write_build(synthetic, folder, until=sample.until)
    text = sample_readme(name, sample, synthetic)
    (Path(folder) / "README.md").write_bytes(text.encode("utf-8"))
    return synthetic


def sample_readme(name: str, sample: Sample, synthetic: SyntheticBuild) -> str:
    """The text of a sample's README.md."""
    truth, plan = synthetic.truth, synthetic.build.plan
    known = synthetic.build.sessions
    known = known.loc[known["until"] <= str(sample.until)]
    lines = [
        f"# {name}",
        "",
        sample.about.strip(),
        "",
        "Everything here is invented: the kit, the people, the hours, the words.",
        "No maker's manual, plan or log stood behind it.",
        "",
        "## How it was made",
        "",
        "```console",
        f"$ python -m benchmarks.invented.workshop {name} sample_logs/{name}",
        "```",
        "",
        "plays the build day by day to its end with parameters that are known",
        f"(`benchmarks/invented/workshop/{name}.py`, seed {synthetic.seed})",
        "and writes down what the builder knew on",
        f"{sample.until}: {len(known)} rows and {known['person_hours'].sum():.0f} person-hours.",
        "A test makes it again and compares every byte of this folder.",
        "",
        "## How the play went on",
        "",
        "What the log does not know yet, from the same play:",
        "",
        "| stage | really finished | planned person-hours | person-hours in the end |",
        "|---|---|---|---|",
    ]
    for stage in plan.stages:
        tasks = [t for t in plan.tasks if t.stage == stage]
        planned = sum(t.planned_hours or 0.0 for t in tasks if t.added is None)
        spent = sum(truth.total_hours[t.task] + truth.rework_hours[t.task] for t in tasks)
        lines.append(f"| {stage} | {truth.stage_finish[stage]} | {planned:.0f} | {spent:.0f} |")
    lines += [
        "",
        f"The whole build was finished on {truth.build_finish}, with {truth.outside_hours:.0f} hours more",
        "outside the plan. It is one of the many ways in which it could have gone.",
        "",
    ]
    return "\n".join(lines)
