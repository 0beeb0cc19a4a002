"""Commands for decisions: crew, orders."""

from __future__ import annotations

from typing import Annotated

import typer

from forecast.cli.options import AsJson, AsOf, Folder, Priors, Runs, Seed, read_inputs
from forecast.cli.output import announce_compilation, print_answer, print_json, priors_lines, progress_bar

# Plans and deliveries are compared run by run on the same draws, which needs fewer runs: a judgement.
_RUNS = 2_000
# 80 hours are two full-time jobs; more is a typing error.
WeeklyHours = Annotated[
    float | None,
    typer.Option(
        "--weekly-hours",
        metavar="HOURS",
        min=0.1,
        max=80.0,
        help="Hours per week of a second builder not in build.toml (default: usual).",
    ),
]


def crew(
    folder: Folder,
    as_of: AsOf = None,
    runs: Runs = _RUNS,
    seed: Seed = 0,
    as_json: AsJson = False,
    weekly_hours: WeeklyHours = None,
    priors: Priors = None,
) -> None:
    """Compare building alone, with a second builder or a helper."""
    build, day, settings = read_inputs(folder, as_of, runs=runs, seed=seed, priors=priors)

    from forecast.questions.crew import compare_crews
    from forecast.simulate.fitted import fit_build

    announce_compilation()
    with progress_bar("Simulating one builder, two, and a helper") as show:
        fitted = fit_build(build, day, settings)
        answer = compare_crews(fitted, settings, weekly_hours=weekly_hours, on_progress=show)
    if as_json:
        print_json(answer.to_dict())
        return

    from forecast.present.crew import crew_table

    notes = [*answer.findings[1:], *priors_lines(settings)]
    print_answer(answer.findings[:1], crew_table(answer), notes)


def orders(
    folder: Folder,
    as_of: AsOf = None,
    runs: Runs = _RUNS,
    seed: Seed = 0,
    as_json: AsJson = False,
    priors: Priors = None,
) -> None:
    """Show by when to order each kit or part."""
    build, day, settings = read_inputs(folder, as_of, runs=runs, seed=seed, priors=priors)

    from forecast.questions.orders import orders_of
    from forecast.simulate.fitted import fit_build

    announce_compilation()
    with progress_bar("Simulating with and without each delivery") as show:
        answer = orders_of(fit_build(build, day, settings), settings, on_progress=show)
    if as_json:
        print_json(answer.to_dict())
        return

    from forecast.present.orders import order_sentences, orders_table

    table = orders_table(build, answer) if answer.orders else None
    print_answer(order_sentences(build, answer), table, priors_lines(settings))
