"""Printing: answers as text or JSON on standard output; waits and progress on standard error."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.table import Table

    from forecast.simulate.settings import Settings


def priors_lines(settings: Settings) -> list[str]:
    """The sentence that an answer with pooled priors must carry."""
    return [] if settings.priors is None else [settings.priors.sentence]


def back_test_lines(settings: Settings) -> list[str]:
    """The sentence that a back-test with pooled priors must carry."""
    if settings.priors is None:
        return []
    return [
        "The back-test used these pooled priors on every past day, although the builds they come from may "
        "have finished later: it can look better than forecasts made on those days."
    ]


def print_json(answer: dict[str, Any]) -> None:
    """Print an answer for other programs."""
    import json

    sys.stdout.write(json.dumps(answer, indent=2, ensure_ascii=False) + "\n")


def print_line(text: str) -> None:
    """Print one line as it is: rich would wrap and colour it."""
    sys.stdout.write(text + "\n")


def print_answer(before: Iterable[str], table: Table | None, after: Iterable[str]) -> None:
    """Print an answer for people.

    Parameters
    ----------
    before, after : lines around the table
    table : None where there is nothing to tabulate
    """
    for line in before:
        print_line(line)
    if table is not None:
        from rich.console import Console

        Console().print(table)
    for line in after:
        print_line(line)


def announce_compilation() -> None:
    """Explain the wait if this is the first forecast on this machine."""
    from forecast.simulate.first_use import loops_are_compiled

    if not loops_are_compiled():
        sys.stderr.write("Preparing the simulation: about ten seconds, once on this machine.\n")
        sys.stderr.flush()


@contextmanager
def progress_bar(title: str) -> Iterator[Callable[[int, int], None]]:
    """Show progress on standard error; only on a terminal, so that logs stay clean."""
    if not sys.stderr.isatty():
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
