"""Small builds on disk for the tests of many."""

from pathlib import Path

from benchmarks.invented.workshop import make_build, write_build
from forecast.simulate.settings import Settings

QUICK = Settings(runs=40, horizon_years=2)


def write_club(place: Path, builds: int, *, tasks: int = 14, until: float = 0.5) -> list[Path]:
    """Folders kit-0, kit-1, ... with half of the hours in the log."""
    folders = []
    for seed in range(builds):
        made = make_build(seed=seed, tasks=tasks)
        write_build(made, place / f"kit-{seed}", until=made.cut(until))
        folders.append(place / f"kit-{seed}")
    return folders
