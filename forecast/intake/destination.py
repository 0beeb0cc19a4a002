"""The build folder as a take finds it: who builds, what the plan is, which rows exist already."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from forecast.errors import InputError, Problem
from forecast.files.folder import STARTER_FILES, log_files, starter_file
from forecast.files.logbook import Builder
from forecast.files.plan import Plan, Task, read_plan
from forecast.files.tables import read_date, read_table
from forecast.intake.saved_reading import FILE, SavedReadings, read_saved
from forecast.intake.session_rows import Content, contents_of

NOT_BUILDING = "not_building.csv"


@dataclass(frozen=True, kw_only=True)
class Destination:
    """The contents of a build folder that a take depends on.

    Attributes
    ----------
    folder : its path; it need not exist yet
    builders : of build.toml; empty when the file is missing or still the one that `start` wrote
    plan : None when plan.csv is missing, without tasks, or still the one that `start` wrote
    starter_files : names of the files that are still those of `start`, byte for byte
    log, set_aside : rows of the log and of not_building.csv -> how often they occur
    saved : the contents of take.toml
    """

    folder: Path
    builders: tuple[Builder, ...]
    plan: Plan | None
    starter_files: frozenset[str]
    log: Counter[Content]
    set_aside: Counter[Content]
    saved: SavedReadings

    @property
    def log_file(self) -> Path:
        """The file for new rows: log.csv, or a file of their own where the log is a folder."""
        whole, parts = self.folder / "log.csv", self.folder / "log"
        return parts / "taken.csv" if parts.is_dir() and not whole.exists() else whole

    @property
    def outside_plan(self) -> list[tuple[str, str]]:
        """Note and type of the log rows outside the plan, sorted."""
        return sorted((str(c[-1]), str(c[7])) for c in self.log if not c[5])

    @property
    def types_of_plan(self) -> dict[str, str]:
        """Title -> type of the tasks of the plan that have a type."""
        return {t.title: t.type for t in self._tasks if t.type != "general"}

    @property
    def by_task(self) -> dict[str, Task]:
        """The tasks of the plan by case-folded id and title; an id takes precedence over a title."""
        return {t.title.casefold(): t for t in self._tasks} | {t.task.casefold(): t for t in self._tasks}

    @property
    def only_task_of_stage(self) -> dict[str, Task]:
        """The stages that the plan has as a single task."""
        counts = Counter(t.stage for t in self._tasks)
        return {t.stage: t for t in self._tasks if counts[t.stage] == 1}

    @property
    def _tasks(self) -> tuple[Task, ...]:
        return self.plan.tasks if self.plan else ()


def read_destination(folder: Path) -> Destination:
    """Read a build folder, or an empty or missing one.

    Raises
    ------
    InputError : when a file of the folder exists but cannot be used
    """
    from forecast.files.build_settings import read_settings

    if folder.exists() and not folder.is_dir():
        raise InputError.about(str(folder), "is not a folder")
    starter_files = frozenset(n for n in STARTER_FILES if is_starter_file(n, _bytes(folder / n)))
    problems: list[Problem] = []
    builders: tuple[Builder, ...] = ()
    limits: dict[str, float] = {}
    own = {n for n in STARTER_FILES if n not in starter_files and (folder / n).exists()}
    if "build.toml" in own:
        settings, problems, _ = read_settings(_bytes(folder / "build.toml"))
        if settings is not None:
            builders, limits = settings.builders, {x.id: x.amount for x in settings.limits}
    plan = None
    if "plan.csv" in own:
        table = read_table(_bytes(folder / "plan.csv"), "plan.csv", "plan")
        plan, found = read_plan(table, limits=limits)
        problems += [*table.problems, *found]
    if problems:
        raise InputError(problems)
    first = builders[0].id if builders else "A"
    log: Counter[Content] = Counter()
    for path in log_files(folder):
        if path != folder / "log.csv" or "log.csv" in own:
            log += count_contents(_bytes(path), path.relative_to(folder).as_posix(), first)
    return Destination(
        folder=folder,
        builders=builders,
        plan=plan if plan and plan.tasks else None,
        starter_files=starter_files,
        log=log,
        set_aside=count_contents(_bytes(folder / NOT_BUILDING), NOT_BUILDING, first),
        saved=read_saved(_bytes(folder / FILE)),
    )


def count_contents(data: bytes, name: str, first_builder: str) -> Counter[Content]:
    """Count how often each row occurs in a log file.

    Parameters
    ----------
    data : content of the file; blank for a file without rows
    name : its name in problems
    first_builder : id that a row without names means
    """
    return Counter(contents_of(read_table(data, name, "log"), first_builder) if data.strip() else ())


def is_starter_file(name: str, data: bytes) -> bool:
    """Whether a file of the folder is still, byte for byte, the one that `start` wrote on some day."""
    days = [read_date(text) for text in re.findall(r"\d{4}-\d\d-\d\d", data.decode(errors="replace"))]
    return data == starter_file(name, max(filter(None, days), default=None))


def _bytes(path: Path) -> bytes:
    """The content of a file; b"" where it is missing."""
    try:
        return path.read_bytes() if path.exists() else b""
    except OSError as error:
        reason = error.strerror or "it cannot be opened"
        raise InputError.about(path.name, f"could not be read: {reason}") from None
