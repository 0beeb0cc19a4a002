"""Commands on the builder's files: start, check."""

from __future__ import annotations

from datetime import date

from forecast.cli.options import Folder
from forecast.cli.output import print_line


def start(folder: Folder) -> None:
    """Create a build folder with comments and example rows."""
    from forecast.files.folder import start_build

    start_build(folder, date.today())
    print_line(f"Created {folder}. Next: replace the example rows in plan.csv and log.csv,")
    print_line(f"then run: benchdays check {folder}  and  benchdays finish {folder}")


def check(folder: Folder) -> None:
    """List every problem in the folder: file, line, value and rule."""
    from forecast.files.folder import check_build

    build = check_build(folder, today=date.today())
    for notice in build.notices:
        print_line(notice)
    counts = f"{len(build.plan.tasks)} tasks and {len(build.sessions)} log rows"
    print_line(f"{build.name}: {counts} read, no problems.")
