"""The command that shows how earlier forecasts did: record."""

from __future__ import annotations

import gc
from typing import TYPE_CHECKING

import typer

from forecast.cli.options import (
    AsJson,
    AsOf,
    Folder,
    Runs,
    Seed,
    day_of_forecast,
    print_json,
    progress_on_screen,
    say,
)

if TYPE_CHECKING:
    from rich.table import Table

    from forecast.questions.track_record import TrackRecord

_MOST_WORKERS = 4


def add_to(app: typer.Typer) -> None:
    """Register the command of this file."""
    app.command()(record)


def record(
    folder: Folder,
    as_of: AsOf = None,
    runs: Runs = 500,
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:
    """What would have been said on past days, against what happened."""
    gc.enable()  # this one runs on
    from joblib import cpu_count

    from forecast.files.folder import read_build

    build = read_build(folder)
    day = day_of_forecast(build, as_of)

    from forecast.questions.track_record import track_record
    from forecast.simulate.settings import Settings

    with progress_on_screen("Forecasting from past days") as show:
        found = track_record(
            build,
            day,
            Settings(runs=runs, seed=seed),
            workers=min(cpu_count(), _MOST_WORKERS),
            on_progress=show,
        )
    if as_json:
        print_json(found.to_dict())
    else:
        _print_record(found)


def _print_record(found: TrackRecord) -> None:
    from rich.console import Console

    from forecast.questions.track_record import announced_sentences, record_sentences

    first, *rest = record_sentences(found)
    say(first)
    if len(found.finishes):
        Console().print(_table(found))
    for line in [*rest, *announced_sentences(found)]:
        say(line)
    if found.days:
        say(_basis(found))


def _basis(found: TrackRecord) -> str:
    return (
        f"From {len(found.days)} past days, {found.days[0]} to {found.days[-1]}; "
        f"{found.settings.runs:,} runs each, seed {found.settings.seed}, as of {found.as_of}."
    )


def _table(found: TrackRecord) -> Table:
    """One row a target: how its dates did, and the scores beside the naive ways."""
    from rich import box
    from rich.table import Table

    from forecast.questions.track_record import early_or_late

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    table.add_column("Finish of", overflow="fold")
    for title in ("Said", "80 % held", "Even odds"):
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
            *(f"{score:,.0f}" if score == score else "" for score in scores),
        )
    return table
