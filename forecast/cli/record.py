"""The command that compares past forecasts with what happened: record."""

from __future__ import annotations

from math import isnan
from typing import TYPE_CHECKING

from forecast.cli.options import AsJson, AsOf, Folder, Priors, Runs, Seed, read_inputs
from forecast.cli.output import back_test_lines, print_answer, print_json, progress_bar

if TYPE_CHECKING:
    from rich.table import Table

    from forecast.questions.track_record import TrackRecord

# One worker takes about 0.4 GB (benchmarks/many_speed.md): four are safe on a home machine, a judgement.
_MOST_WORKERS = 4


# Every past day has runs of its own, and the score averages over the days: 500 are enough, a judgement.
_RUNS = 500


def record(
    folder: Folder,
    as_of: AsOf = None,
    runs: Runs = _RUNS,
    seed: Seed = 0,
    as_json: AsJson = False,
    priors: Priors = None,
) -> None:
    """Back-test: past forecasts compared with what happened."""
    build, day, settings = read_inputs(folder, as_of, runs=runs, seed=seed, priors=priors)

    from joblib import cpu_count

    from forecast.questions.track_record import announced_sentences, record_sentences, track_record

    workers = min(cpu_count(), _MOST_WORKERS)
    with progress_bar("Forecasting from past days") as show:
        found = track_record(build, day, settings, workers=workers, on_progress=show)
    if as_json:
        print_json(found.to_dict())
        return
    first, *rest = record_sentences(found)
    notes = [*rest, *announced_sentences(found), *_basis_lines(found), *back_test_lines(settings)]
    print_answer([first], _record_table(found) if len(found.finishes) else None, notes)


def _basis_lines(found: TrackRecord) -> list[str]:
    if not found.days:
        return []
    return [
        f"From {len(found.days)} past days, {found.days[0]} to {found.days[-1]}; "
        f"{found.settings.runs:,} runs each, seed {found.settings.seed}, as of {found.as_of}."
    ]


def _record_table(found: TrackRecord) -> Table:
    """One row per target: how its dates did, and its scores beside those of the naive ways."""
    from rich import box
    from rich.table import Table

    from forecast.questions.track_record import early_or_late

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    table.add_column("Finish of", overflow="fold")
    for title in ("Forecasts", "By 80 % date", "Even odds"):
        table.add_column(title, justify="right", no_wrap=True)
    for title in ("CRPS", "pace", "earned"):
        table.add_column(title, justify="right")
    for target in found.targets:
        judged = found.judged(target)
        held = judged.held
        scores = [found.crps_days(way, target) for way in ("", "average_pace", "earned_schedule")]
        table.add_row(
            target,
            f"{held.known + held.open}",
            f"{held.held} of {held.known}" if held.known else "open",
            early_or_late(judged.middle) if held.known else "",
            *("" if isnan(score) else f"{score:,.0f}" for score in scores),
        )
    return table
