"""The command that takes in a sheet kept in another shape: take."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from forecast.cli.options import Folder, say

File = Annotated[Path, typer.Argument(help="XLSX, ODS, CSV, TSV or Markdown.", show_default=False)]
Mapped = Annotated[
    list[str] | None,
    typer.Option("--map", metavar="COLUMN=MEANING", help="Your own word on a column; may be repeated."),
]
Said = Annotated[
    list[str] | None,
    typer.Option("--answer", metavar="KEY=VALUE", help="Answer to a question asked; may be repeated."),
]
Yes = Annotated[bool, typer.Option("--yes", help="Write without asking.")]


def add_to(app: typer.Typer) -> None:
    """Register the command of this file."""
    app.command()(take)


def take(file: File, folder: Folder, maps: Mapped = None, answers: Said = None, yes: Yes = False) -> None:
    """Take in a spreadsheet or CSV kept in another shape; writes only when told to."""
    from forecast.intake import (
        intake_lines,
        parse_answers,
        parse_mapping,
        propose_intake,
        take_in,
        taken_lines,
    )

    intake = propose_intake(
        file,
        folder,
        today=date.today(),
        mapping=parse_mapping(maps or ()),
        answers=parse_answers(answers or ()),
    )
    for line in intake_lines(intake):
        say(line)
    if yes or (sys.stdin.isatty() and typer.confirm("Write this?", default=False)):
        for line in taken_lines(take_in(intake)):
            say(line)
    else:
        say("Nothing was written. To write it, answer what is asked and add --yes.")
