"""Commands on the builder's files: start, check."""

from __future__ import annotations

from datetime import date

import typer

from forecast.cli.options import Folder, say


def add_to(app: typer.Typer) -> None:
    """Register the commands of this file."""
    app.command()(start)
    app.command()(check)


def start(folder: Folder) -> None:
    """Make a build folder with comments and a few rows to overwrite."""
    from forecast.files.folder import start_build

    start_build(folder, date.today())
    say(f"Made {folder}. Next: put your own rows into plan.csv and log.csv,")
    say(f"then: benchdays check {folder}  and  benchdays finish {folder}")


def check(folder: Folder) -> None:
    """Say every problem in the folder at once: file, line, column, value, what is allowed."""
    from forecast.files.folder import check_build

    build = check_build(folder, today=date.today())
    for notice in build.notices:
        say(notice)
    say(f"{build.name}: {len(build.plan.tasks)} tasks and {len(build.sessions)} log rows read, no problems.")
