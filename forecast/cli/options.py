"""The arguments and options that several commands share, and reading what they name."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from forecast.errors import UsageError

if TYPE_CHECKING:
    from forecast.files.folder import Build
    from forecast.learn.pooled_priors import PooledPriors
    from forecast.simulate.settings import Settings


def text_option(name: str, words: str, metavar: str = "TEXT") -> Any:
    """An option whose help names its own default; blank or None means not given."""
    return typer.Option(f"--{name}", metavar=metavar, help=words, show_default=False)


OptionalFile = Path | None
Folder = Annotated[Path, typer.Argument(help="Build folder.", show_default=False)]
AsOf = Annotated[
    str | None, text_option("as-of", "Use only what was known on DATE (default: today).", "DATE")
]
# At most a million: memory grows with the runs, and more digits would tell a builder nothing. A judgement.
Runs = Annotated[
    int, typer.Option("--runs", metavar="N", min=1, max=1_000_000, help="Number of simulation runs.")
]
Seed = Annotated[int, typer.Option("--seed", metavar="N", min=0, help="Seed; same seed, same answer.")]
Priors = Annotated[
    OptionalFile, text_option("priors", "Priors from `many --write-priors` (default: built-in).", "FILE")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the answer as JSON (default: text).")]


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
