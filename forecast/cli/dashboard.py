"""The command that opens the dashboard."""

from __future__ import annotations

import gc
from importlib import import_module
from typing import Annotated

import typer

from forecast.cli.options import AsOf, Folder, Runs, Seed, parse_day, say
from forecast.errors import InputError, Problem, UsageError

Port = Annotated[
    int | None,
    typer.Option(help="Of the server; the first free one from 8501 if not given.", min=1, max=65535),
]
Lan = Annotated[
    bool, typer.Option("--lan", help="Open it to the home network, for devices that know a code.")
]


def add_to(app: typer.Typer) -> None:
    """Register the command of this file."""
    app.command()(dashboard)


def dashboard(
    folder: Folder,
    port: Port = None,
    lan: Lan = False,
    as_of: AsOf = None,
    runs: Runs = 10_000,
    seed: Seed = 0,
) -> None:
    """Open the dashboard in a browser: on this machine only, unless asked."""
    gc.enable()  # this one runs on
    if not folder.is_dir():
        raise InputError([Problem(str(folder), None, "", "", "is not a folder: `benchdays start` makes one")])
    day = None if as_of is None else parse_day(as_of, "--as-of")
    try:
        opening, serve = import_module("dashboard.server.opening"), import_module("dashboard.server.serve")
    except ModuleNotFoundError as error:
        raise UsageError(
            f"The dashboard needs {error.name}: install it with `pip install 'benchdays[dashboard]'`."
        ) from None
    asked = opening.Opening(folder=folder.resolve(), as_of=day, runs=runs, seed=seed)
    serve.serve(asked, port=port, lan=lan, say=say)
