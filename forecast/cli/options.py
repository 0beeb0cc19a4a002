"""The arguments and options that several commands share, reading what they name, and printing."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from forecast.errors import UsageError

if TYPE_CHECKING:
    from rich.table import Table

    from forecast.files.folder import Build
    from forecast.learn.pooled_priors import PooledPriors
    from forecast.simulate.settings import Settings

Folder = Annotated[Path, typer.Argument(help="Build folder.", show_default=False)]
AsOf = Annotated[
    str | None,
    typer.Option("--as-of", metavar="DATE", help="Use only what was known on DATE (default: today)."),
]
Runs = Annotated[
    int, typer.Option("--runs", metavar="N", min=1, max=1_000_000, help="Number of simulation runs.")
]
Seed = Annotated[int, typer.Option("--seed", metavar="N", min=0, help="Seed; same seed, same answer.")]
Priors = Annotated[
    Path | None,
    typer.Option("--priors", metavar="FILE", help="Priors from `many --write-priors` (default: built-in)."),
]
OptionalFile = Path | None
AsJson = Annotated[bool, typer.Option("--json", help="Print the answer as JSON (default: text).")]


def text_option(name: str, words: str, metavar: str = "TEXT") -> Any:
    """An option that takes text; its help names no default, because blank means not given."""
    return typer.Option(f"--{name}", metavar=metavar, help=words, show_default=False)


def file_option(name: str, words: str) -> Any:
    """An option that names a file, by default none."""
    return typer.Option(f"--{name}", metavar="FILE", help=words, show_default=False)


def parse_day(text: str, option: str) -> date:
    """Read one ISO day from the command line.

    Parameters
    ----------
    text : what was typed
    option : its name, for the error message

    Raises
    ------
    UsageError when it is no day as YYYY-MM-DD.

    Examples
    --------
    >>> parse_day("2026-03-01", "--as-of")
    datetime.date(2026, 3, 1)
    """
    try:
        # fromisoformat reads 20260301 and 2026-W09-7 too, which the files do not take.
        if len(text) != 10 or text[4] != "-" or text[7] != "-":
            raise ValueError(text)
        return date.fromisoformat(text)
    except ValueError:
        raise UsageError(f"{option}: {text!r} must be a day such as 2026-03-01.") from None


def read_inputs(
    folder: Path, as_of: str | None, *, runs: int = 10_000, seed: int = 0, priors: Path | None = None
) -> tuple[Build, date, Settings]:
    """The build, the last day that counts, and the settings of a forecasting command.

    Parameters
    ----------
    folder : build folder
    as_of : ISO day; None for today or the last day of the log, whichever is later
    runs, seed, priors : as the options of these names

    Raises
    ------
    InputError when the folder or the priors cannot be read; UsageError when `as_of` is no day.
    """
    from forecast.files.folder import read_build
    from forecast.simulate.settings import Settings

    build = read_build(folder)
    day = _last_known_day(build) if as_of is None else parse_day(as_of, "--as-of")
    return build, day, Settings(runs=runs, seed=seed, priors=read_priors_option(priors))


def _last_known_day(build: Build) -> date:
    today = date.today()
    last = today if build.sessions.empty else build.sessions["until"].max().date()
    if last > today:
        sys.stderr.write(
            f"The log has rows up to {last}, after today; they are used as they are. "
            f"`benchdays check` lists them; --as-of {today} leaves them out.\n"
        )
    return max(today, last)


def read_priors_option(file: Path | None) -> PooledPriors | None:
    """The pooled priors in a file, or None for the built-in ones."""
    if file is None:
        return None
    from forecast.learn.pooled_priors import read_priors

    return read_priors(file)


def priors_lines(settings: Settings) -> list[str]:
    """The sentence that an answer with pooled priors must carry."""
    return [] if settings.priors is None else [settings.priors.sentence]


def back_test_lines(settings: Settings) -> list[str]:
    """The sentence that a back-test with pooled priors must carry."""
    if settings.priors is None:
        return []
    return [
        "The back-test used these pooled priors on every past day, although the builds they come from may "
        "have finished later: it can look better than forecasts made on those days."
    ]


def print_json(answer: dict[str, Any]) -> None:
    """Print an answer for other programs."""
    import json

    sys.stdout.write(json.dumps(answer, indent=2, ensure_ascii=False) + "\n")


def print_line(text: str) -> None:
    """Print one line as it is: rich would wrap and colour it."""
    sys.stdout.write(text + "\n")


def print_answer(before: Iterable[str], table: Table | None, after: Iterable[str]) -> None:
    """Print an answer for people.

    Parameters
    ----------
    before, after : lines around the table
    table : None where there is nothing to tabulate
    """
    for line in before:
        print_line(line)
    if table is not None:
        from rich.console import Console

        Console().print(table)
    for line in after:
        print_line(line)


def announce_compilation() -> None:
    """Start compiling if this is the first forecast on this machine, and explain the wait."""
    from forecast.simulate.first_use import loops_are_compiled, start_compiling

    if not loops_are_compiled():
        sys.stderr.write("Preparing the simulation: about ten seconds, once on this machine.\n")
        sys.stderr.flush()
        start_compiling()


@contextmanager
def progress_bar(title: str) -> Iterator[Callable[[int, int], None]]:
    """Show progress on standard error; only on a terminal, so that logs stay clean."""
    if not sys.stderr.isatty():
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
