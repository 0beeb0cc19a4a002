"""Run a command as on a given day: `python -m tests.on_a_day 2026-10-03 finish my-build`.

Only the command line reads the clock (see test_house), so a calendar of its own is enough to make what it
prints on a page repeatable.
"""

import datetime
import sys

import forecast.cli


def main(today: datetime.date, arguments: list[str]) -> None:
    """Give every module of the command line a `date` whose today is that day, then run the command."""

    class FixedDate(datetime.date):
        @classmethod
        def today(cls):
            return today

    commands = [module for name, module in sys.modules.items() if name.startswith("forecast.cli.")]
    changed = [module for module in commands if getattr(module, "date", None) is datetime.date]
    assert changed, "no module of the command line reads the clock any more"
    for module in changed:
        module.date = FixedDate
    sys.argv = ["benchdays", *arguments]
    forecast.cli.main()


if __name__ == "__main__":
    main(datetime.date.fromisoformat(sys.argv[1]), sys.argv[2:])
