"""What the dashboard was opened for: one folder and the settings of its forecasts."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from forecast.errors import UsageError

if TYPE_CHECKING:
    from forecast.files.folder import Build
    from forecast.simulate.settings import Settings

_FILES = ("build.toml", "plan.csv", "log.csv", "deliveries.csv", "away.csv", "forecasts.csv")


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """The folder and the settings that the dashboard was started with.

    Attributes
    ----------
    folder : the build folder
    as_of : the last day that counts; None = the last day in the log or today, whichever is later
    runs, seed : of every forecast on the pages
    """

    folder: Path
    as_of: date | None = None
    runs: int = 10_000
    seed: int = 0

    @property
    def settings(self) -> Settings:
        """The settings of every forecast."""
        from forecast.simulate.settings import Settings

        return Settings(runs=self.runs, seed=self.seed)


_opened: list[Opening] = []


def open_dashboard(opening: Opening) -> None:
    """Set what the pages of this process show."""
    _opened[:] = [opening]


def opened() -> Opening:
    """What `open_dashboard` set last.

    Raises
    ------
    UsageError before that.
    """
    if not _opened:
        raise UsageError("Start the dashboard with `benchdays dashboard FOLDER`.")
    return _opened[0]


def state_of(folder: Path) -> str:
    """A digest of every file that the pages read from the folder."""
    digest = hashlib.sha256()
    log_folder = folder / "log"
    more = sorted(log_folder.glob("*.csv")) if log_folder.is_dir() else []
    for path in [*(folder / name for name in _FILES), *more]:
        digest.update(path.name.encode())
        digest.update(b"\0")
        digest.update(_content(path))
    return digest.hexdigest()


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes() if path.is_file() else b""
    except OSError as error:
        return repr(error).encode()


def day_shown(opening: Opening, build: Build) -> date:
    """The last day that counts on the pages.

    Parameters
    ----------
    opening : may name the day
    build : otherwise it is the last day in the log or today, whichever is later
    """
    if opening.as_of is not None:
        return opening.as_of
    today = date.today()
    return today if build.sessions.empty else max(today, build.sessions["until"].max().date())
