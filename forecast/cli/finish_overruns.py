"""Commands that answer from the log and plan: finish, overruns."""

from __future__ import annotations

import sys
from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from forecast.cli.options import (
    AsJson,
    AsOf,
    Folder,
    Priors,
    Runs,
    Seed,
    announce_compilation,
    day_of_forecast,
    print_json,
    print_priors,
    progress_on_screen,
    read_priors_option,
    say,
    short_work,
)
from forecast.errors import InputError

if TYPE_CHECKING:
    from forecast.simulate.outlook import Outlook

Keep = Annotated[bool, typer.Option("--keep/--no-keep", help="Keep the announced dates in forecasts.csv.")]


def add_to(app: typer.Typer) -> None:
    """Register the commands of this file."""
    app.command()(finish)
    app.command()(overruns)


@short_work()
def finish(
    folder: Folder,
    as_of: AsOf = None,
    runs: Runs = 10_000,
    seed: Seed = 0,
    as_json: AsJson = False,
    keep: Keep = True,
    priors: Priors = None,
) -> None:
    """When each stage and the whole build finish."""
    from forecast.files.folder import read_build

    build = read_build(folder)
    day = day_of_forecast(build, as_of)
    pooled = read_priors_option(priors)

    from forecast.simulate.finish import forecast_finish
    from forecast.simulate.settings import Settings

    announce_compilation()
    with progress_on_screen("Playing the rest of the build") as show:
        outlook = forecast_finish(build, day, Settings(runs=runs, seed=seed, priors=pooled), on_progress=show)
    if as_json:
        print_json(outlook.to_dict())
    else:
        _print_finish(outlook)
    if keep and day >= date.today():
        _keep(outlook)


def _keep(outlook: Outlook) -> None:
    from forecast.questions.announced_dates import store_announced_dates

    try:
        store_announced_dates(outlook, date.today())
    except InputError as error:
        sys.stderr.write(f"These dates were not kept (--no-keep leaves that out): {error}\n")


def _print_finish(outlook: Outlook) -> None:
    from rich.console import Console

    from forecast.present.finish import CAUTION, basis_sentence, finish_lines, finish_table

    for line in finish_lines(outlook):
        say(line)
    Console().print(finish_table(outlook))
    say(basis_sentence(outlook))
    for note in outlook.notes:
        say(note)
    say(CAUTION)


def overruns(
    folder: Folder, as_of: AsOf = None, seed: Seed = 0, as_json: AsJson = False, priors: Priors = None
) -> None:
    """Which task types run over estimate, by how much, how sure, and why."""
    from forecast.files.folder import read_build

    build = read_build(folder)
    day = day_of_forecast(build, as_of)

    pooled = read_priors_option(priors)

    from forecast.questions.overruns import overruns as compare
    from forecast.simulate.fitted import fit_build
    from forecast.simulate.settings import Settings

    fitted = fit_build(build, day, Settings(seed=seed, priors=pooled))
    answer = compare(fitted.progress, fitted.effort)
    if as_json:
        print_json(answer.to_dict())
        return

    from rich.console import Console

    from forecast.present.finish import overruns_lines, overruns_table

    say(answer.finding)
    Console().print(overruns_table(answer))
    for line in (*answer.reasons, *overruns_lines(), *fitted.effort.notes_):
        say(line)
    print_priors(pooled)
