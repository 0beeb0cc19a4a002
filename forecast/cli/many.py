"""The command for many builds at once: one table, and priors for the next builder."""

from __future__ import annotations

import gc
import signal
import sys
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from forecast.cli.options import (
    AsJson,
    AsOf,
    Priors,
    Runs,
    Seed,
    announce_compilation,
    parse_day,
    progress_on_screen,
    read_priors_option,
    say,
)
from forecast.errors import UsageError

if TYPE_CHECKING:
    from forecast.many.answer import BuildAnswer
    from forecast.many.run import Many

Folders = Annotated[list[Path], typer.Argument(help="The build folders.", show_default=False)]
Keep = Annotated[
    Path,
    typer.Option("--keep", metavar="DIR", help="Where answers are kept, so that a broken-off run goes on."),
]
Csv = Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="The table as CSV too.")]
WritePriors = Annotated[
    Path | None,
    typer.Option("--write-priors", metavar="FILE", help="Write what these builds teach the next builder."),
]
Workers = Annotated[
    int | None, typer.Option("--workers", min=1, max=1024, help="Processes on this machine; one a core.")
]
Scheduler = Annotated[
    str | None,
    typer.Option("--scheduler", metavar="ADDRESS", help="Use the Dask cluster there: tcp://HOST:PORT."),
]


def add_to(app: typer.Typer) -> None:
    """Register the command of this file."""
    app.command()(many)


def many(
    folders: Folders,
    as_of: AsOf = None,
    runs: Runs = 2_000,
    seed: Seed = 0,
    as_json: AsJson = False,
    csv: Csv = None,
    keep: Keep = Path(".benchdays-many"),
    workers: Workers = None,
    scheduler: Scheduler = None,
    priors: Priors = None,
    write_priors: WritePriors = None,
) -> None:
    """Many builds at once: one table of all, and priors for the next builder.

    A folder that cannot be read is reported and stops no other. Finished ones are not done again
    unless their files, the day or the settings changed. A cluster's workers need benchdays installed.
    """
    gc.enable()  # this one runs on
    if priors is not None and write_priors is not None:
        raise UsageError("--write-priors learns with the built-in priors: leave --priors out of that run.")
    if scheduler is not None and workers is not None:
        raise UsageError("--workers is for this machine, --scheduler for a cluster: leave one of them out.")
    _check_place("--csv", csv)
    _check_place("--write-priors", write_priors)
    day = date.today() if as_of is None else parse_day(as_of, "--as-of")
    pooled = read_priors_option(priors)

    from forecast.many.answer_cache import AnswerCache
    from forecast.many.engine import engine
    from forecast.many.run import Many, distinct
    from forecast.simulate.settings import Settings

    builds = Many(
        folders=distinct(folders),
        as_of=day,
        today=date.today(),
        settings=Settings(runs=runs, seed=seed, priors=pooled),
        kept=AnswerCache(keep),
        learn=write_priors is not None,
    )
    announce_compilation()
    # Asked to end, end as by Ctrl-C: with the workers, and with what is finished kept.
    before = signal.signal(signal.SIGTERM, _end)
    try:
        with (
            engine(workers=workers, scheduler=scheduler) as where,
            progress_on_screen(f"Forecasting {len(builds.folders)} builds") as show,
        ):
            builds.run(where, show)
    except KeyboardInterrupt:
        sys.stderr.write(f"Broken off. What is finished is kept in {keep}: the same command goes on.\n")
        raise typer.Exit(130) from None
    finally:
        signal.signal(signal.SIGTERM, before)
    if csv is not None:
        _write_csv(csv, builds)
    if as_json:
        _print_json(builds)
    else:
        _print_table(builds)
    if write_priors is not None:
        _write_priors(write_priors, builds)
    if builds.failed:
        raise typer.Exit(1)


def _end(number: int, frame: object) -> None:
    raise KeyboardInterrupt


def _check_place(option: str, file: Path | None) -> None:
    """Refuse before the work what could not be written after it."""
    if file is not None and (file.is_dir() or not file.resolve().parent.is_dir()):
        raise UsageError(f"{option}: {file} must be a file in a folder that is there.")


def _print_json(builds: Iterable[BuildAnswer]) -> None:
    """As `Many.to_dict` has it, build by build: a thousand answers are never in memory together."""
    import json

    sys.stdout.write('{\n"builds": [\n')
    for number, answer in enumerate(builds):
        sys.stdout.write(",\n" if number else "")
        sys.stdout.write(json.dumps(answer.to_dict(), ensure_ascii=False))
    sys.stdout.write("\n]\n}\n")


def _print_table(builds: Many) -> None:
    from rich.console import Console

    from forecast.present.finish import CAUTION
    from forecast.present.many_builds import many_table, problem_lines

    Console().print(many_table(builds))
    for line in problem_lines(builds.failed.values()):
        say(line)
    say(CAUTION)


def _write_csv(file: Path, builds: Many) -> None:
    from forecast.files.storage import write_atomically
    from forecast.present.many_builds import table_csv

    write_atomically(file, table_csv(builds))


def _write_priors(file: Path, builds: Many) -> None:
    from forecast.learn.pooled_priors import write_priors
    from forecast.many.pool import pool_priors

    pooled = pool_priors(builds.summaries())
    write_priors(file, pooled)
    sys.stderr.write(
        f"Wrote {file}: priors pooled from {pooled.builds} builds, for `benchdays finish FOLDER --priors "
        f"{file}`. No row, note, title or name is in it.\n"
    )
