"""What the dashboard was opened for: one folder, one way of asking."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from forecast.errors import UsageError
from forecast.outlook import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """The folder and the settings that the dashboard was started with.

    Attributes
    ----------
    folder : the build folder
    as_of : the last day that counts; None = the last day of the log or today, whichever is later
    runs, seed : of every forecast on the pages
    address : where others on the home network reach it; "" = this machine only
    """

    folder: Path
    as_of: date | None = None
    runs: int = 10_000
    seed: int = 0
    address: str = ""

    @property
    def settings(self) -> Settings:
        """The settings of every forecast."""
        return Settings(runs=self.runs, seed=self.seed)


_opened: list[Opening] = []


def open_dashboard(opening: Opening) -> None:
    """Say what the pages of this process show."""
    _opened[:] = [opening]


def opened() -> Opening:
    """What `open_dashboard` said last."""
    if not _opened:
        raise UsageError("Start the dashboard by `benchdays dashboard FOLDER`.")
    return _opened[0]
