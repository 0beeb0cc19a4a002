"""The first runs of the forecast, computed in a process of its own while server and browser start.

One Python process runs one thread at a time: in the server's own process the forecast would slow the server
down. The result is used only if it is of the folder as it is by then; otherwise the pages compute it again.
"""

from __future__ import annotations

import pickle
import subprocess
import sys
import threading
from collections.abc import Hashable
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.server.opening import Opening, day_shown, state_of

if TYPE_CHECKING:
    from forecast.simulate.outlook import Outlook
    from forecast.simulate.settings import Settings

FIRST_LOOK_RUNS = 500  # about a second's work; the dates then move by a few days at most. A judgement.


def forecast_key(state: str, as_of: date, settings: Settings) -> tuple[Hashable, ...]:
    """What identifies a forecast.

    Parameters
    ----------
    state : digest of the files, as `state_of` gives it
    as_of : the last day that counts
    settings : runs, seed and horizon
    """
    return (state, as_of, settings.runs, settings.seed, settings.horizon_years)


@dataclass(kw_only=True)
class FirstLook:
    """The first runs on their way.

    Attributes
    ----------
    process : computes them and writes them to its standard output
    """

    process: subprocess.Popen[bytes]
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _result: tuple[tuple[Hashable, ...], Outlook] | None = None
    _read: bool = False

    def outlook(self, key: tuple[Hashable, ...]) -> Outlook | None:
        """Wait for the first runs; None when they are of another forecast or failed."""
        with self._lock:
            if not self._read:
                output, _ = self.process.communicate()
                self._read = True
                if self.process.returncode == 0:
                    self._result = pickle.loads(output)
        return self._result[1] if self._result is not None and self._result[0] == key else None


_started: list[FirstLook] = []


def start_first_look(opening: Opening) -> None:
    """Start computing the first runs of what the dashboard is opened for."""
    day = "" if opening.as_of is None else opening.as_of.isoformat()
    arguments = [str(opening.folder), day, str(opening.runs), str(opening.seed)]
    # An error there occurs again in the pages, which report it to the visitor.
    process = subprocess.Popen(
        [sys.executable, "-m", "dashboard.work.first_look", *arguments],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )
    _started[:] = [FirstLook(process=process)]


def first_look(key: tuple[Hashable, ...]) -> Outlook | None:
    """The first runs of this forecast if they were started; None where the pages must compute them."""
    return _started[0].outlook(key) if _started else None


def compute_first_look(opening: Opening) -> tuple[tuple[Hashable, ...], Outlook]:
    """The key and the first runs of the forecast.

    Raises
    ------
    InputError when the folder has problems; RuntimeError when it changed while it was read.
    """
    from forecast.files.folder import read_build
    from forecast.simulate.finish import simulate_build
    from forecast.simulate.fitted import fit_build

    state = state_of(opening.folder)
    build = read_build(opening.folder)
    if state_of(opening.folder) != state:
        raise RuntimeError("The folder changed while it was read.")
    day = day_shown(opening, build)
    settings = replace(opening.settings, runs=min(opening.runs, FIRST_LOOK_RUNS))
    return forecast_key(state, day, settings), simulate_build(fit_build(build, day, settings), settings)


def main(folder: str, day: str, runs: str, seed: str) -> None:
    """Write the first runs to standard output."""
    as_of = date.fromisoformat(day) if day else None
    opening = Opening(folder=Path(folder), as_of=as_of, runs=int(runs), seed=int(seed))
    pickle.dump(compute_first_look(opening), sys.stdout.buffer, protocol=pickle.HIGHEST_PROTOCOL)


if __name__ == "__main__":
    main(*sys.argv[1:])
