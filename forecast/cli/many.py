"""The command for many builds at once: one table, and pooled priors."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from forecast.cli.options import (
    AsJson,
    AsOf,
    OptionalFile,
    Priors,
    Runs,
    Seed,
    parse_day,
    read_priors_option,
    text_option,
)
from forecast.cli.output import announce_compilation, print_answer, progress_bar
from forecast.errors import UsageError

if TYPE_CHECKING:
    from forecast.many.answer import BuildAnswer
    from forecast.many.builds import ManyBuilds
    from forecast.many.executors import Executor

Folders = Annotated[list[Path], typer.Argument(help="Build folders.", show_default=False)]
Cache = Annotated[
    Path,
    typer.Option("--cache", metavar="DIR", help="Cache folder, so that an interrupted run can resume."),
]
Csv = Annotated[OptionalFile, text_option("csv", "Write the table as CSV too.", "FILE")]
WritePriors = Annotated[
    OptionalFile, text_option("write-priors", "Write pooled priors estimated from these builds.", "FILE")
]
Workers = Annotated[
    int | None,
    typer.Option("--workers", metavar="N", min=1, max=1024, help="Worker processes (default: one per core)."),
]
Scheduler = Annotated[
    str | None, text_option("scheduler", "Use a Dask cluster, as tcp://HOST:PORT.", "ADDRESS")
]


def many(
    folders: Folders,
    as_of: AsOf = None,
    runs: Runs = 2_000,
    seed: Seed = 0,
    as_json: AsJson = False,
    csv: Csv = None,
    cache: Cache = Path(".benchdays-many"),
    workers: Workers = None,
    scheduler: Scheduler = None,
    priors: Priors = None,
    write_priors: WritePriors = None,
) -> None:
    """Forecast many builds at once; estimate pooled priors.

    A folder that cannot be read is reported; the others are still forecast. Answers come from the cache
    unless a build's files, the day or the settings have changed. Cluster workers need benchdays installed.
    """
    if priors is not None and write_priors is not None:
        raise UsageError("--write-priors estimates from the built-in priors: leave --priors out.")
    if scheduler is not None and workers is not None:
        raise UsageError("--workers is for this machine, --scheduler for a cluster: give only one of them.")
    _check_writable("--csv", csv)
    _check_writable("--write-priors", write_priors)
    day = date.today() if as_of is None else parse_day(as_of, "--as-of")

    from forecast.many.answer_cache import AnswerCache
    from forecast.many.builds import ManyBuilds, distinct
    from forecast.many.executors import open_executor
    from forecast.simulate.settings import Settings

    builds = ManyBuilds(
        folders=distinct(folders),
        as_of=day,
        today=date.today(),
        settings=Settings(runs=runs, seed=seed, priors=read_priors_option(priors)),
        cache=AnswerCache(cache),
        with_summaries=write_priors is not None,
    )
    announce_compilation()
    with _ending_on_sigterm(cache), open_executor(workers=workers, scheduler=scheduler) as executor:
        _forecast(builds, executor)
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


def _check_writable(option: str, file: Path | None) -> None:
    """Refuse before hours of work what could not be written after them."""
    if file is not None and (file.is_dir() or not file.resolve().parent.is_dir()):
        raise UsageError(f"{option}: {file} must be a file in an existing folder.")


def _forecast(builds: ManyBuilds, executor: Executor) -> None:
    with progress_bar(f"Forecasting {len(builds.folders)} builds") as show:
        builds.run(executor, show)


@contextmanager
def _ending_on_sigterm(cache: Path) -> Iterator[None]:
    """End on SIGTERM as on Ctrl-C: workers stopped, finished answers in the cache."""

    def interrupt(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, interrupt)
    try:
        yield
    except KeyboardInterrupt:
        sys.stderr.write(f"Interrupted. Finished answers are in {cache}; run the same command to resume.\n")
        raise typer.Exit(130) from None
    finally:
        signal.signal(signal.SIGTERM, before)


def _print_json(builds: Iterable[BuildAnswer]) -> None:
    """Print the contract's JSON build by build, so that a thousand answers need not fit in memory."""
    import json

    sys.stdout.write('{\n"builds": [\n')
    for number, answer in enumerate(builds):
        sys.stdout.write(",\n" if number else "")
        sys.stdout.write(json.dumps(answer.to_dict(), ensure_ascii=False))
    sys.stdout.write("\n]\n}\n")


def _print_table(builds: ManyBuilds) -> None:
    from forecast.present.finish import CAUTION
    from forecast.present.many_builds import many_table, problem_lines

    print_answer([], many_table(builds), [*problem_lines(builds.failed.values()), CAUTION])


def _write_csv(file: Path, builds: ManyBuilds) -> None:
    from forecast.files.storage import write_atomically
    from forecast.present.many_builds import table_csv

    write_atomically(file, table_csv(builds))


def _write_priors(file: Path, builds: ManyBuilds) -> None:
    from forecast.learn.pooled_priors import write_priors
    from forecast.many.pool import pool_priors

    pooled = pool_priors(builds.summaries())
    write_priors(file, pooled)
    sys.stderr.write(
        f"Wrote {file}: priors pooled from {pooled.builds} builds, for `benchdays finish FOLDER --priors "
        f"{file}`. It contains no row, note, title or name.\n"
    )
