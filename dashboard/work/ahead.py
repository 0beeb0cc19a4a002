"""The first look, worked out by a process of its own while the server and the browser are still starting.

One process does its Python one line at a time: the forecast and the server would wait for each other. What
comes back is taken only if it is of the folder as it then is; otherwise the pages work it out themselves.
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

FIRST_LOOK_RUNS = 500


def asking_key(state: str, as_of: date, settings: Settings) -> tuple[Hashable, ...]:
    """What makes two askings the same."""
    return (state, as_of, settings.runs, settings.seed, settings.horizon_years)


@dataclass(kw_only=True)
class Ahead:
    """A first look that is on its way.

    Attributes
    ----------
    process : works it out and writes it to its standard output
    """

    process: subprocess.Popen[bytes]
    _once: threading.Lock = field(default_factory=threading.Lock)
    _found: tuple[tuple[Hashable, ...], Outlook] | None = None
    _read: bool = False

    def look(self, key: tuple[Hashable, ...]) -> Outlook | None:
        """The first look, waited for; None when it is of another asking or there is none."""
        with self._once:
            if not self._read:
                said, _ = self.process.communicate()
                self._read = True
                if self.process.returncode == 0:
                    self._found = pickle.loads(said)
        return self._found[1] if self._found is not None and self._found[0] == key else None


_on_its_way: list[Ahead] = []


def look_ahead(opening: Opening) -> None:
    """Begin the first look for what the dashboard is opened for."""
    day = "" if opening.as_of is None else opening.as_of.isoformat()
    words = [str(opening.folder), day, str(opening.runs), str(opening.seed)]
    # What goes wrong there goes wrong again in the pages, which say it in the builder's words.
    process = subprocess.Popen(
        [sys.executable, "-m", "dashboard.work.ahead", *words],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )
    _on_its_way[:] = [Ahead(process=process)]


def looked(key: tuple[Hashable, ...]) -> Outlook | None:
    """The first look that was begun ahead, if it is of this asking; None where the pages must look."""
    return _on_its_way[0].look(key) if _on_its_way else None


def first_look(opening: Opening) -> tuple[tuple[Hashable, ...], Outlook]:
    """The first runs of the forecast, with their key.

    Raises
    ------
    InputError when the folder does not allow a forecast; RuntimeError when it changed meanwhile.
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
    return asking_key(state, day, settings), simulate_build(fit_build(build, day, settings), settings)


def main(folder: str, day: str, runs: str, seed: str) -> None:
    """Write the first look to standard output."""
    as_of = date.fromisoformat(day) if day else None
    opening = Opening(folder=Path(folder), as_of=as_of, runs=int(runs), seed=int(seed))
    pickle.dump(first_look(opening), sys.stdout.buffer, protocol=pickle.HIGHEST_PROTOCOL)


if __name__ == "__main__":
    main(*sys.argv[1:])
