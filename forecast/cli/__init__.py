"""The commands: parse, call, print. Heavy imports stay inside the command that needs them."""

from __future__ import annotations

import gc
import sys
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from forecast.cli import (
    crew_orders,
    dashboard,
    finish_overruns,
    log_step,
    many,
    record,
    start_check,
    take,
    tonight_report,
)
from forecast.errors import BenchdaysError, InputError

_LONG_RUNNING = ("record", "many", "dashboard")


class _Program(TyperGroup):
    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Accept `--version` after the name of a command too."""
        return super().parse_args(ctx, args[1:] if args[1:] == ["--version"] else args)


app = typer.Typer(
    name="benchdays",
    cls=_Program,
    context_settings={"help_option_names": ["-h", "--help"]},
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
for _command in (
    start_check.start,
    start_check.check,
    log_step.log,
    log_step.step,
    take.take,
    finish_overruns.finish,
    finish_overruns.overruns,
    crew_orders.crew,
    crew_orders.orders,
    tonight_report.tonight,
    tonight_report.report,
    record.record,
    many.many,
    dashboard.dashboard,
):
    app.command()(_command)


def _print_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        sys.stdout.write(f"benchdays {version('benchdays')}\n")
        raise typer.Exit


@app.callback()
def program(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version.", callback=_print_version, is_eager=True)
    ] = False,
) -> None:
    """When will the kit be finished? Finish dates from your own plan and log."""


def main() -> None:
    """Run the command line; each problem becomes one plain sentence and an exit code."""
    # Collecting garbage during the imports makes `finish` 1.3 times as slow (CPU time, median of 7
    # alternating runs). Only commands that run for minutes produce enough to need it.
    if not set(sys.argv[1:2]) & set(_LONG_RUNNING):
        gc.disable()
    try:
        app(prog_name="benchdays")
    except BenchdaysError as error:
        sys.stderr.write("".join(f"{line}\n" for line in _sentences(error)))
        sys.exit(error.exit_code)
    finally:
        gc.freeze()  # The interpreter would search once more on exit.


def _sentences(error: BenchdaysError) -> list[str]:
    if not isinstance(error, InputError):
        return [str(error)]
    lines = [str(p) for p in error.problems]
    count = len(lines)
    return [*lines, f"{count} problem{'s' if count != 1 else ''}; nothing was changed."]
