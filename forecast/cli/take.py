"""The command that imports foreign sheets: take."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from forecast.cli.options import Folder
from forecast.cli.output import print_line

File = Annotated[Path, typer.Argument(help="XLSX, ODS, CSV, TSV or Markdown file.", show_default=False)]
Mapping = Annotated[
    list[str] | None,
    typer.Option("--map", metavar="COLUMN=MEANING", help="Override how a column is read; repeatable."),
]
Answers = Annotated[
    list[str] | None,
    typer.Option("--answer", metavar="KEY=VALUE", help="Answer one of the questions asked; repeatable."),
]
Yes = Annotated[bool, typer.Option("--yes", help="Write without asking (default: ask).")]


def take(
    file: File, folder: Folder, mapping: Mapping = None, answers: Answers = None, yes: Yes = False
) -> None:
    """Import a log from a spreadsheet, CSV or Markdown file.

    Shows first how it reads the file; writes only after a yes, or with --yes.
    """
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
        mapping=parse_mapping(mapping or ()),
        answers=parse_answers(answers or ()),
    )
    for line in intake_lines(intake):
        print_line(line)
    if yes or (sys.stdin.isatty() and typer.confirm("Write this?", default=False)):
        for line in taken_lines(take_in(intake)):
            print_line(line)
    else:
        print_line("Nothing was written. To write it, answer the questions above and add --yes.")
