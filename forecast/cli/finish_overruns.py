"""Commands for dates and hours: finish, overruns."""

from __future__ import annotations

import sys
from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from forecast.cli.options import AsJson, AsOf, Folder, Priors, Runs, Seed, read_inputs
from forecast.cli.output import announce_compilation, print_answer, print_json, priors_lines, progress_bar
from forecast.errors import InputError

if TYPE_CHECKING:
    from forecast.simulate.outlook import Outlook

Keep = Annotated[bool, typer.Option("--keep/--no-keep", help="Add the dates to forecasts.csv.")]


def finish(
    folder: Folder,
    as_of: AsOf = None,
    runs: Runs = 10_000,
    seed: Seed = 0,
    as_json: AsJson = False,
    keep: Keep = True,
    priors: Priors = None,
) -> None:
    """Forecast when each stage and the whole build finish."""
    build, day, settings = read_inputs(folder, as_of, runs=runs, seed=seed, priors=priors)

    from forecast.simulate.finish import forecast_finish

    announce_compilation()
    with progress_bar("Simulating the rest of the build") as show:
        outlook = forecast_finish(build, day, settings, on_progress=show)
    if as_json:
        print_json(outlook.to_dict())
    else:
        _print_finish(outlook)
    if keep and day >= date.today():
        _store_dates(outlook)


def _print_finish(outlook: Outlook) -> None:
    from forecast.present.finish import CAUTION, basis_sentence, finish_lines, finish_table

    notes = [basis_sentence(outlook), *outlook.notes, CAUTION]
    print_answer(finish_lines(outlook), finish_table(outlook), notes)


def _store_dates(outlook: Outlook) -> None:
    from forecast.questions.announced_dates import store_announced_dates

    try:
        store_announced_dates(outlook, date.today())
    except InputError as error:
        # The answer is already on the screen: a folder that cannot be written takes nothing from it.
        sys.stderr.write(f"The dates were not stored (use --no-keep to skip this): {error}\n")


def overruns(
    folder: Folder, as_of: AsOf = None, seed: Seed = 0, as_json: AsJson = False, priors: Priors = None
) -> None:
    """Show which task types run over, by how much, how sure and why."""
    build, day, settings = read_inputs(folder, as_of, seed=seed, priors=priors)

    from forecast.questions.overruns import overruns as compare_with_plan
    from forecast.simulate.fitted import fit_build

    fitted = fit_build(build, day, settings)
    answer = compare_with_plan(fitted.progress, fitted.effort)
    if as_json:
        print_json(answer.to_dict())
        return

    from forecast.present.overruns import overruns_lines, overruns_table

    notes = [*answer.reasons, *overruns_lines(), *fitted.effort.notes_, *priors_lines(settings)]
    print_answer([answer.finding], overruns_table(answer), notes)
