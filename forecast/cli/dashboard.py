"""The command that opens the dashboard."""

from __future__ import annotations

from importlib import import_module
from typing import Annotated

import typer

from forecast.cli.options import AsOf, Folder, Runs, Seed, parse_day
from forecast.cli.output import print_line
from forecast.errors import InputError, Problem, UsageError

Port = Annotated[
    int | None,
    typer.Option(
        metavar="PORT", help="Server port (default: the first free port from 8501).", min=1, max=65535
    ),
]
Lan = Annotated[bool, typer.Option("--lan", help="Open it to devices on the home network that enter a code.")]


def dashboard(
    folder: Folder,
    port: Port = None,
    lan: Lan = False,
    as_of: AsOf = None,
    runs: Runs = 10_000,
    seed: Seed = 0,
) -> None:
    """Open the dashboard in a browser, on this machine unless --lan."""
    if not folder.is_dir():
        sentence = "is not a folder: create one with `benchdays start`"
        raise InputError([Problem(str(folder), None, "", "", sentence)])
    day = None if as_of is None else parse_day(as_of, "--as-of")
    # By name: forecast/ is installed without the dashboard's dependencies and must not import them.
    try:
        opening, serve = import_module("dashboard.server.opening"), import_module("dashboard.server.serve")
    except ModuleNotFoundError as error:
        raise UsageError(
            f"The dashboard needs {error.name}: install it with `pip install 'benchdays[dashboard]'`."
        ) from None
    asked = opening.Opening(folder=folder.resolve(), as_of=day, runs=runs, seed=seed)
    serve.serve(asked, port=port, lan=lan, say=print_line)
