"""The build folder as a take finds it: who builds, what the plan is, which rows are there already."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from forecast.errors import InputError, Problem
from forecast.files.folder import STARTER_FILES
from forecast.files.logbook import Builder
from forecast.files.plan import Plan, Task, read_plan
from forecast.files.tables import read_table
from forecast.intake.saved_reading import FILE, SavedReadings, read_saved
from forecast.intake.session_rows import Content, contents_of

NOT_BUILDING = "not_building.csv"


@dataclass(frozen=True, kw_only=True)
class Destination:
    """What a build folder holds.

    Attributes
    ----------
    folder : it need not exist yet
    builders : of build.toml; empty when it is missing or still the one that `start` wrote
    plan : None when it is missing or still the one that `start` wrote
    examples : files that are still the invented ones of `start`, byte for byte
    log : how often each row is in log.csv or log/, and in not_building.csv
    taught : title -> type, as plan.csv has them
    saved : take.toml
    """

    folder: Path
    builders: tuple[Builder, ...]
    plan: Plan | None
    examples: frozenset[str]
    log: Counter[Content]
    apart: Counter[Content]
    taught: Mapping[str, str]
    saved: SavedReadings

    @property
    def log_file(self) -> Path:
        """Where new rows go: log.csv, or a file of their own where the log is a folder."""
        whole, parts = self.folder / "log.csv", self.folder / "log"
        return parts / "taken.csv" if parts.is_dir() and not whole.exists() else whole

    @property
    def outside(self) -> list[tuple[str, str]]:
        """Note and type of the log rows outside the plan, in a fixed order."""
        rows = (content[-1:] + content[7:8] for content in self.log if not content[5])
        return sorted((str(note), str(kind)) for note, kind in rows)

    @property
    def by_task(self) -> dict[str, Task]:
        """The tasks of the plan by id and by title, without case."""
        tasks = self.plan.tasks if self.plan else ()
        return {t.title.casefold(): t for t in tasks} | {t.task.casefold(): t for t in tasks}

    @property
    def only_task_of_stage(self) -> dict[str, Task]:
        """The stages that the plan holds as one row."""
        tasks = self.plan.tasks if self.plan else ()
        counts = Counter(t.stage for t in tasks)
        return {t.stage: t for t in tasks if counts[t.stage] == 1}


def read_destination(folder: Path) -> Destination:
    """Read a build folder, or an empty or missing one.

    Raises
    ------
    InputError when a file of the folder is there but cannot be used.
    """
    from forecast.files.build_settings import read_settings

    if folder.exists() and not folder.is_dir():
        raise InputError([Problem(str(folder), None, "", "", "is not a folder")])
    examples = frozenset(n for n in STARTER_FILES if is_example(n, _bytes(folder / n) or b""))
    problems: list[Problem] = []
    builders: tuple[Builder, ...] = ()
    limits: dict[str, float] = {}
    data = _bytes(folder / "build.toml")
    if data is not None and "build.toml" not in examples:
        settings, found, _ = read_settings(data)
        problems += found
        if settings is not None:
            builders, limits = settings.builders, {x.id: x.amount for x in settings.limits}
    plan = _plan(folder, examples, limits, problems)
    if problems:
        raise InputError(problems)
    first = builders[0].id if builders else "A"
    taught = {t.title: t.type for t in plan.tasks if t.type != "general"} if plan else {}
    saved = _bytes(folder / FILE)
    return Destination(
        folder=folder,
        builders=builders,
        plan=plan,
        examples=examples,
        log=_log_contents(folder, examples, first),
        apart=read_contents(_bytes(folder / NOT_BUILDING), NOT_BUILDING, first),
        taught=taught,
        saved=read_saved(saved) if saved is not None else SavedReadings(),
    )


def read_contents(data: bytes | None, name: str, first_builder: str) -> Counter[Content]:
    """How often each row is in a log file; an empty or missing file has none."""
    if not data or not data.strip():
        return Counter()
    return Counter(contents_of(read_table(data, name, "log"), first_builder))


def _log_contents(folder: Path, examples: frozenset[str], first: str) -> Counter[Content]:
    files = sorted((folder / "log").glob("*.csv"))
    found: Counter[Content] = Counter()
    for path in [folder / "log.csv", *(p for p in files if p.name[0] not in ".~")]:
        if path.name not in examples or path.parent != folder:
            found += read_contents(_bytes(path), path.relative_to(folder).as_posix(), first)
    return found


def _plan(
    folder: Path, examples: frozenset[str], limits: Mapping[str, float], problems: list[Problem]
) -> Plan | None:
    data = _bytes(folder / "plan.csv")
    if data is None or "plan.csv" in examples:
        return None
    table = read_table(data, "plan.csv", "plan")
    plan, found = read_plan(table, limits=limits, deliveries=None)
    problems += [*table.problems, *found]
    return plan if plan.tasks else None


def is_example(name: str, data: bytes) -> bool:
    """Whether a file of the folder is still, byte for byte, the one with invented rows that `start` wrote."""
    return data == (resources.files("forecast") / "schemas" / "starter" / name).read_bytes()


def _bytes(path: Path) -> bytes | None:
    try:
        return path.read_bytes() if path.exists() else None
    except OSError as error:
        reason = error.strerror or "it cannot be opened"
        raise InputError([Problem(path.name, None, "", "", f"could not be read: {reason}")]) from None
