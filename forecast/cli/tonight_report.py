"""Commands for the builder's week: tonight, report."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from forecast.cli.options import (
    AsJson,
    AsOf,
    Folder,
    Priors,
    Runs,
    Seed,
    day_of_forecast,
    print_json,
    print_priors,
    progress_on_screen,
    read_priors_option,
    say,
)
from forecast.errors import UsageError

if TYPE_CHECKING:
    from forecast.files.folder import Build
    from forecast.questions.tonight import Tonight

Hours = Annotated[
    str, typer.Option("--hours", help="Clock hours, as 3 or 2:30; your usual session if not given.")
]
Who = Annotated[
    str, typer.Option("--builders", help="Who is there, as A+B or A+1; the first builder if not given.")
]

Out = Annotated[
    Path | None,
    typer.Option("-o", "--out", help="The page: a file that ends in .html or .pdf.", show_default=False),
]
Ics = Annotated[
    Path | None, typer.Option("--ics", help="The dates as a calendar (.ics).", show_default=False)
]
HoursCsv = Annotated[
    Path | None,
    typer.Option("--hours-csv", help="Hours by day, person, stage and type (.csv).", show_default=False),
]
WholeLog = Annotated[
    Path | None,
    typer.Option("--log", help="Every session, for other programs (.csv or .xlsx).", show_default=False),
]
Record = Annotated[
    bool, typer.Option("--record/--no-record", help="Forecast from past days too; takes longest.")
]
Paper = Annotated[str, typer.Option("--paper", help="A4 or letter, for PDF.")]


def add_to(app: typer.Typer) -> None:
    """Register the commands of this file."""
    app.command()(tonight)
    app.command()(report)


def tonight(
    folder: Folder,
    hours: Hours = "",
    builders: Who = "",
    as_of: AsOf = None,
    runs: Runs = 10_000,
    seed: Seed = 0,
    as_json: AsJson = False,
    priors: Priors = None,
) -> None:
    """Which ready tasks fit tonight's session, and the chance of finishing each."""
    from forecast.files.folder import read_build

    length = parse_hours_option(hours)
    build = read_build(folder)
    day = day_of_forecast(build, as_of)
    people = parse_people(build, builders)

    from forecast.questions.tonight import USUAL_HOURS, usual_hours
    from forecast.questions.tonight import tonight as answer_tonight
    from forecast.simulate.fitted import fit_build
    from forecast.simulate.settings import Settings

    settings = Settings(runs=runs, seed=seed, priors=read_priors_option(priors))
    fitted = fit_build(build, day, settings)
    length = length or usual_hours(fitted.progress.sessions) or USUAL_HOURS
    answer = answer_tonight(fitted, hours=length, people=people, settings=settings)
    if as_json:
        print_json(answer.to_dict())
    else:
        _print_tonight(answer)
        print_priors(settings.priors)


def parse_people(build: Build, text: str) -> tuple[str, ...]:
    """Who is there: ids of build.toml, and a helper without a name for each of `+2`."""
    from forecast.files.logbook import split_people

    ids = [b.id for b in build.builders]
    found = split_people(text, ids[0])
    if found is None or not set(found[0]) <= set(ids):
        allowed = f"must be builders of build.toml ({', '.join(ids)}) joined by +, helpers as +2"
        raise UsageError(f"--builders: {text!r} {allowed}.")
    names, helpers = found
    return (*names, *(["a helper"] if helpers == 1 else [f"helper {n + 1}" for n in range(helpers)]))


def parse_hours_option(text: str) -> float | None:
    """The clock hours of a session, or None where nothing was said."""
    from forecast.files.tables import read_hours

    if not text:
        return None
    hours = read_hours(text)
    if hours is None or not 0 < hours <= 24:
        raise UsageError(f"--hours: {text!r} must be hours as 2.5 or 2:30, above 0 and at most 24.")
    return hours


def report(
    folder: Folder,
    out: Out = None,
    ics: Ics = None,
    hours_csv: HoursCsv = None,
    log: WholeLog = None,
    paper: Paper = "A4",
    record: Record = True,
    as_of: AsOf = None,
    runs: Runs = 10_000,
    seed: Seed = 0,
) -> None:
    """One page with all answers that opens and prints anywhere; the dates as a calendar; hours and log."""
    from forecast.present.report_page.files import Files, write_report
    from forecast.simulate.settings import Settings

    files = Files(page=out, calendar=ics, hours=hours_csv, log=log, paper=paper, record=record)
    files.check(folder)

    from forecast.files.folder import read_build

    build = read_build(folder)
    day = day_of_forecast(build, as_of)
    settings = Settings(runs=runs, seed=seed)
    with progress_on_screen("Working out the answers") as show:
        written = write_report(build, day, settings, files, on_progress=show)
    for path in written:
        say(f"Wrote {path}.")


def _print_tonight(answer: Tonight) -> None:
    from rich.console import Console

    from forecast.present.evening import evening_lines, more_lines, ready_table

    for line in evening_lines(answer):
        say(line)
    if answer.tasks:
        Console().print(ready_table(answer))
    for line in more_lines(answer):
        say(line)
