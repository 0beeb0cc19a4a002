"""The arguments and options that several commands share, and how a day or a wait is understood."""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from forecast.errors import UsageError

if TYPE_CHECKING:
    from forecast.files.folder import Build
    from forecast.learn.pooled_priors import PooledPriors

Folder = Annotated[Path, typer.Argument(help="The build folder.", show_default=False)]
AsOf = Annotated[
    str | None,
    typer.Option("--as-of", metavar="DATE", help="Use only what was known at the end of that day."),
]
Runs = Annotated[int, typer.Option("--runs", min=1, max=1_000_000, help="How often the rest is played.")]
Seed = Annotated[int, typer.Option("--seed", min=0, help="Same seed, same answer.")]
Priors = Annotated[
    Path | None,
    typer.Option(
        "--priors", metavar="FILE", help="Priors pooled from other builds, made by `many --write-priors`."
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="The answer as JSON.")]


def parse_day(text: str, option: str) -> date:
    """Read one ISO day from the command line.

    >>> parse_day("2026-03-01", "--as-of")
    datetime.date(2026, 3, 1)
    """
    try:
        if len(text) != 10:
            raise ValueError(text)
        return date.fromisoformat(text)
    except ValueError:
        raise UsageError(f"{option}: {text!r} must be a day such as 2026-03-01.") from None


def day_of_forecast(build: Build, as_of: str | None) -> date:
    """The given day, or the last day of the log or today, whichever is later."""
    if as_of is not None:
        return parse_day(as_of, "--as-of")
    today = date.today()
    last = today if build.sessions.empty else build.sessions["until"].max().date()
    if last > today:
        sys.stderr.write(
            f"The log goes on to {last}, which lies after today: taken as it stands. "
            f"`benchdays check` names such rows; --as-of {today} leaves them out.\n"
        )
    return max(today, last)


def read_priors_option(file: Path | None) -> PooledPriors | None:
    """The pooled priors of a file, or None where none was named."""
    if file is None:
        return None
    from forecast.learn.pooled_priors import read_priors

    return read_priors(file)


def print_priors(pooled: PooledPriors | None) -> None:
    """Say where the answer leans on other builds; nothing where it does not."""
    if pooled is not None:
        say(pooled.sentence)


def print_json(answer: dict[str, Any]) -> None:
    """Print an answer for other programs."""
    import json

    sys.stdout.write(json.dumps(answer, indent=2, ensure_ascii=False) + "\n")


def say(text: str) -> None:
    """Print one line for people, as it stands."""
    sys.stdout.write(text + "\n")


def announce_compilation() -> None:
    """Announce the compilation, which takes most of the first forecast on a machine."""
    from forecast.simulate.first_use import loops_are_compiled

    if not loops_are_compiled():
        sys.stderr.write("Preparing the simulation, once on this machine: some ten seconds.\n")
        sys.stderr.flush()


@contextmanager
def short_work() -> Iterator[None]:
    """For a command of a few seconds, most of it imports: garbage is left where it lies until the end.

    Most objects go without a search all the same, when nothing refers to them any more.
    """
    searches = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if searches:
            gc.enable()


@contextmanager
def progress_on_screen(title: str) -> Iterator[Callable[[int, int], None]]:
    """Show how far a long piece of work is, on standard error and only where somebody looks."""
    if not sys.stderr.isatty():
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        line = bar.add_task(title, total=None)

        def show(done: int, total: int) -> None:
            bar.update(line, completed=done, total=total)

        yield show
