"""Commands for the builder's week: tonight, report."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from forecast.cli.options import (
    AsJson,
    AsOf,
    Folder,
    OptionalFile,
    Priors,
    Runs,
    Seed,
    read_inputs,
    text_option,
)
from forecast.cli.output import (
    announce_compilation,
    back_test_lines,
    print_answer,
    print_json,
    print_line,
    priors_lines,
    progress_bar,
)
from forecast.errors import UsageError

if TYPE_CHECKING:
    from forecast.files.folder import Build

Hours = Annotated[str, text_option("hours", "Clock hours, as 3 or 2:30 (default: your usual).", "HOURS")]
Who = Annotated[str, text_option("builders", "Builders, as A+B or A+1 (default: the first builder).", "IDS")]
Page = Annotated[
    OptionalFile, typer.Option("-o", "--out", metavar="FILE", help="Write the page (.html or .pdf).")
]
Calendar = Annotated[OptionalFile, text_option("ics", "Write the dates as a calendar (.ics).", "FILE")]
HoursCsv = Annotated[
    OptionalFile, text_option("hours-csv", "Write hours by day, person, stage and type (.csv).", "FILE")
]
WholeLog = Annotated[OptionalFile, text_option("log", "Export every session (.csv or .xlsx).", "FILE")]
BackTest = Annotated[
    bool, typer.Option("--record/--no-record", help="Include the back-test (the slowest part).")
]
Paper = Annotated[str, typer.Option("--paper", metavar="SIZE", help="Paper size of a PDF: A4 or letter.")]


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
    """List ready tasks that fit tonight, with the odds for each."""
    session_hours = parse_hours_option(hours)
    build, day, settings = read_inputs(folder, as_of, runs=runs, seed=seed, priors=priors)
    people = parse_people(build, builders)

    from forecast.present.tonight import more_lines, ready_table, tonight_lines
    from forecast.questions.tonight import USUAL_HOURS, usual_hours
    from forecast.questions.tonight import tonight as plan_tonight
    from forecast.simulate.fitted import fit_build

    announce_compilation()
    fitted = fit_build(build, day, settings)
    session_hours = session_hours or usual_hours(fitted.progress.sessions) or USUAL_HOURS
    answer = plan_tonight(fitted, hours=session_hours, people=people, settings=settings)
    if as_json:
        print_json(answer.to_dict())
        return
    table = ready_table(answer) if answer.tasks else None
    print_answer(tonight_lines(answer), table, [*more_lines(answer), *priors_lines(settings)])


def parse_people(build: Build, text: str) -> tuple[str, ...]:
    """Who is there tonight: ids of build.toml, and one unnamed helper for each of `+2`.

    Parameters
    ----------
    build : whose builders may be named
    text : as in the log, A+B or A+1; blank for the first builder

    Raises
    ------
    UsageError when somebody is not in build.toml.
    """
    from forecast.files.logbook import split_people

    ids = [b.id for b in build.builders]
    found = split_people(text, ids[0])
    if found is None or not set(found[0]) <= set(ids):
        allowed = f"must be builders of build.toml ({', '.join(ids)}) joined by +, helpers as +2"
        raise UsageError(f"--builders: {text!r} {allowed}.")
    names, helpers = found
    return (*names, *(["a helper"] if helpers == 1 else [f"helper {n + 1}" for n in range(helpers)]))


def parse_hours_option(text: str) -> float | None:
    """The clock hours of a session as typed, or None if blank.

    Raises
    ------
    UsageError when they are no hours above 0 and at most 24.
    """
    from forecast.files.tables import read_hours

    if not text:
        return None
    hours = read_hours(text)
    if hours is None or not 0 < hours <= 24:
        raise UsageError(f"--hours: {text!r} must be hours as 2.5 or 2:30, above 0 and at most 24.")
    return hours


def report(
    folder: Folder,
    out: Page = None,
    ics: Calendar = None,
    hours_csv: HoursCsv = None,
    log: WholeLog = None,
    paper: Paper = "A4",
    record: BackTest = True,
    as_of: AsOf = None,
    runs: Runs = 10_000,
    seed: Seed = 0,
    priors: Priors = None,
) -> None:
    """Write all answers to one page; export dates, hours and log."""
    from forecast.present.report_page.files import ReportFiles, write_report

    files = ReportFiles(page=out, calendar=ics, hours=hours_csv, log=log, paper=paper, record=record)
    files.check(folder)
    build, day, settings = read_inputs(folder, as_of, runs=runs, seed=seed, priors=priors)
    announce_compilation()
    with progress_bar("Preparing the report") as show:
        written = write_report(build, day, settings, files, on_progress=show)
    for path in written:
        print_line(f"Wrote {path}.")
    if out is not None and record:
        for line in back_test_lines(settings):
            print_line(line)
