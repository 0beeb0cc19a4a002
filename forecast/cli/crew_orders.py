"""Commands for what can be decided: crew, orders."""

from __future__ import annotations

from typing import Annotated

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
)

WeeklyHours = Annotated[
    float | None,
    typer.Option(
        "--weekly-hours",
        min=0.1,
        max=80.0,
        help="Hours a week of a second builder who is not in build.toml yet.",
    ),
]


def add_to(app: typer.Typer) -> None:
    """Register the commands of this file."""
    app.command()(crew)
    app.command()(orders)


def crew(
    folder: Folder,
    as_of: AsOf = None,
    runs: Runs = 2_000,
    seed: Seed = 0,
    as_json: AsJson = False,
    weekly_hours: WeeklyHours = None,
    priors: Priors = None,
) -> None:
    """Solo, two builders, or a helper for two-person tasks only: dates, hours, and what help buys."""
    from forecast.files.folder import read_build

    build = read_build(folder)
    day = day_of_forecast(build, as_of)

    from forecast.questions.crew import compare_crews
    from forecast.simulate.fitted import fit_build
    from forecast.simulate.settings import Settings

    announce_compilation()
    settings = Settings(runs=runs, seed=seed, priors=read_priors_option(priors))
    with progress_on_screen("Playing the rest alone, by two and with help") as show:
        answer = compare_crews(
            fit_build(build, day, settings), settings, weekly_hours=weekly_hours, on_progress=show
        )
    if as_json:
        print_json(answer.to_dict())
        return

    from rich.console import Console

    from forecast.present.choices import crew_table

    for line in answer.findings[:1]:
        say(line)
    Console().print(crew_table(answer))
    for line in answer.findings[1:]:
        say(line)
    print_priors(settings.priors)


def orders(
    folder: Folder,
    as_of: AsOf = None,
    runs: Runs = 2_000,
    seed: Seed = 0,
    as_json: AsJson = False,
    priors: Priors = None,
) -> None:
    """By when to order each kit or part."""
    from forecast.files.folder import read_build

    build = read_build(folder)
    day = day_of_forecast(build, as_of)

    from forecast.questions.orders import orders_of
    from forecast.simulate.fitted import fit_build
    from forecast.simulate.settings import Settings

    announce_compilation()
    settings = Settings(runs=runs, seed=seed, priors=read_priors_option(priors))
    with progress_on_screen("Playing the rest with and without each delivery") as show:
        answer = orders_of(fit_build(build, day, settings), settings, on_progress=show)
    if as_json:
        print_json(answer.to_dict())
        return

    from rich.console import Console

    from forecast.present.choices import order_sentences, orders_table

    for line in order_sentences(build, answer):
        say(line)
    if answer.orders:
        Console().print(orders_table(build, answer))
    print_priors(settings.priors)
