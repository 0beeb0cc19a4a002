"""The commands: parse, call, print. Heavy imports stay inside the command that needs them."""

from __future__ import annotations

import gc
import sys

import typer

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

app = typer.Typer(
    name="benchdays",
    help="When will the kit be finished? Finish dates from your own plan and log.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
start_check.add_to(app)
log_step.add_to(app)
take.add_to(app)
finish_overruns.add_to(app)
crew_orders.add_to(app)
tonight_report.add_to(app)
record.add_to(app)
many.add_to(app)
dashboard.add_to(app)


def main() -> None:
    """Run the command line; problems become one plain sentence each and an exit code."""
    # Most commands end within seconds and leave little garbage: searching for it while everything is being
    # imported would take a tenth of the time. The few that run on turn the search on again.
    gc.disable()
    try:
        app(prog_name="benchdays")
    except BenchdaysError as error:
        sys.stderr.write("".join(f"{line}\n" for line in _sentences(error)))
        sys.exit(error.exit_code)
    finally:
        # Nor is there anything to search for when the process ends.
        gc.freeze()
        gc.enable()


def _sentences(error: BenchdaysError) -> list[str]:
    if not isinstance(error, InputError):
        return [str(error)]
    lines = [str(p) for p in error.problems]
    count = len(lines)
    return [*lines, f"{count} problem{'s' if count != 1 else ''}; nothing was changed."]
