"""A build folder: everything a builder keeps about one build, read and checked together."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date
from importlib import resources
from pathlib import Path

import pandas as pd

from forecast.errors import InputError, Problem
from forecast.files.build_settings import BuildSettings, read_settings
from forecast.files.logbook import Away, Builder, read_away, read_sessions
from forecast.files.plan import Delivery, Limit, Plan, read_deliveries, read_plan
from forecast.files.tables import CheckedTable, read_table

STARTER_FILES = ("build.toml", "plan.csv", "log.csv", "deliveries.csv", "away.csv")
_ISO_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")
_LARGEST_FILE_BYTES = 50_000_000


@dataclass(frozen=True, kw_only=True)
class Build:
    """One build as its folder tells it.

    Attributes
    ----------
    folder : where it is kept
    name, country : of build.toml; country is an ISO 3166 code of two letters or None
    builders, limits, plan, deliveries, away : the records of the folder
    sessions : one row a log row, sorted by date, until, file, line (columns: schemas/sessions.json)
    notices : sentences about what was passed over
    """

    folder: Path
    name: str
    country: str | None
    builders: tuple[Builder, ...]
    limits: tuple[Limit, ...]
    plan: Plan
    sessions: pd.DataFrame
    deliveries: tuple[Delivery, ...]
    away: tuple[Away, ...]
    notices: tuple[str, ...]


def read_build(folder: Path | str) -> Build:
    """Read a build folder.

    Raises
    ------
    InputError with every problem of every file at once.
    """
    return _read(Path(folder), today=None)


def check_build(folder: Path | str, today: date) -> Build:
    """Read a build folder and refuse what lies after `today`: sessions, orders, arrivals, new tasks.

    Raises
    ------
    InputError with every problem of every file at once.
    """
    return _read(Path(folder), today=today)


@dataclass(frozen=True, kw_only=True)
class PartialBuild:
    """What a new row has to fit: the build as far as it is there, whatever else may be wrong with it.

    `logs` holds the log files that are there, `plan` no task where there is no plan yet, and
    `deliveries` the ids of deliveries.csv.
    """

    settings: BuildSettings
    plan: Plan
    plan_lines: dict[str, int]
    logs: tuple[CheckedTable, ...]
    deliveries: frozenset[str]


def read_partial_build(folder: Path | str) -> PartialBuild:
    """Read what a new row has to fit, passing over bad cells, a missing plan and an empty log.

    Raises
    ------
    InputError when build.toml is wrong, or a file cannot be read at all.
    """
    folder = Path(folder)
    reading = _Reading(folder=folder, today=None)
    settings = reading.settings() if folder.is_dir() else None
    fatal = list(reading.problems)
    plan_table = reading.table("plan.csv", "plan")
    deliveries = reading.table("deliveries.csv", "deliveries")
    names = ["log.csv"] if (folder / "log.csv").exists() else []
    logs = [reading.table(name, "log") for name in [*names, *reading.log_folder()]]
    fatal += [p for p in reading.problems if p.file in reading.unreadable]
    if settings is None or fatal:
        raise InputError(fatal or [Problem(str(folder), None, "", "", "is not a folder")])
    plan = read_plan(plan_table)[0] if plan_table else Plan(tasks=())
    lines = plan_table.line.tolist() if plan_table else []
    return PartialBuild(
        settings=settings,
        plan=plan,
        plan_lines={t.task: line for t, line in zip(plan.tasks, lines, strict=True)},
        logs=tuple(table for table in logs if table is not None),
        deliveries=frozenset(deliveries.frame["delivery"]) if deliveries else frozenset(),
    )


def start_build(folder: Path | str, today: date | None = None) -> tuple[str, ...]:
    """Make a build folder with comments and a few invented rows to overwrite; the names of its files.

    With `today` the invented sessions end on that day, so that the first forecast is one of a build
    that has just begun and not of one that has lain still since the rows were written.

    Raises
    ------
    InputError when the folder already holds anything, or cannot be made.
    """
    folder = Path(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError([Problem(str(folder), None, "", "", "is there already: name a new or empty folder")])
    starter = resources.files("forecast") / "schemas" / "starter"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in STARTER_FILES:
            with (folder / name).open("xb") as file:
                file.write(_moved_to(today, name, (starter / name).read_bytes()))
    except OSError as error:
        raise InputError(
            [Problem(str(folder), None, "", "", f"could not be made: {error.strerror}")]
        ) from None
    return STARTER_FILES


def _moved_to(today: date | None, name: str, data: bytes) -> bytes:
    if today is None or name != "log.csv":
        return data
    move = today - date.fromisoformat(max(_ISO_DAY.findall(data.decode())))
    return _ISO_DAY.sub(lambda day: str(date.fromisoformat(day[0]) + move), data.decode()).encode()


def _read(folder: Path, today: date | None) -> Build:
    if not folder.is_dir():
        raise InputError([Problem(str(folder), None, "", "", "is not a folder")])
    reading = _Reading(folder=folder, today=today)
    settings = reading.settings()
    deliveries_table = reading.table("deliveries.csv", "deliveries")
    away_table = reading.table("away.csv", "away")
    plan_table = reading.table("plan.csv", "plan", required=True)
    logs = reading.logs()
    builders = settings.builders if settings else None
    plan = reading.plan(plan_table, settings, deliveries_table)
    deliveries: tuple[Delivery, ...] = ()
    away: tuple[Away, ...] = ()
    if deliveries_table is not None:
        deliveries, found = read_deliveries(deliveries_table, plan.stages if plan else None)
        reading.problems += found
    if away_table is not None:
        away, found = read_away(away_table, builders)
        reading.problems += found
    sessions, found, said = read_sessions(logs, builders, plan)
    reading.problems += found
    if reading.problems or settings is None or plan is None:
        raise InputError(reading.problems)
    return Build(
        folder=folder,
        name=settings.name or folder.resolve().name,
        country=settings.country,
        builders=settings.builders,
        limits=settings.limits,
        plan=plan,
        sessions=sessions,
        deliveries=deliveries,
        away=away,
        notices=(*reading.notices, *said),
    )


@dataclass(kw_only=True)
class _Reading:
    """One pass over a folder: what was wrong and what was passed over so far."""

    folder: Path
    today: date | None
    problems: list[Problem] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    unreadable: set[str] = field(default_factory=set)

    def settings(self) -> BuildSettings | None:
        data = self.bytes("build.toml", required=True)
        if data is None:
            return None
        settings, problems, notices = read_settings(data)
        self.problems += problems
        self.notices += notices
        return settings

    def plan(
        self, table: CheckedTable | None, settings: BuildSettings | None, deliveries: CheckedTable | None
    ) -> Plan | None:
        if table is None:
            return None
        ids = (
            None
            if "deliveries.csv" in self.unreadable
            else set(deliveries.frame["delivery"])
            if deliveries
            else set()
        )
        limits = {x.id: x.amount for x in settings.limits} if settings else None
        plan, problems = read_plan(table, limits=limits, deliveries=ids)
        self.problems += problems
        if not plan.tasks:
            self.problems.append(Problem(table.file, None, "", "", "holds no task yet: write one row a task"))
        return plan

    def logs(self) -> list[CheckedTable]:
        """log.csv, or the files of the folder log/, or both."""
        names = self.log_folder()
        if (self.folder / "log.csv").exists() or not names:
            names.insert(0, "log.csv")
        read = [self.table(name, "log", required=True) for name in names]
        tables = [table for table in read if table is not None]
        if tables and not any(len(table.line) for table in tables) and len(tables) == len(names):
            sentence = "holds no session yet: write one row a session, or use `benchdays log`"
            self.problems.append(Problem(tables[0].file, None, "", "", sentence))
        return tables

    def log_folder(self) -> list[str]:
        if not (self.folder / "log").is_dir():
            return []
        found = sorted(p.name for p in (self.folder / "log").iterdir() if p.name[0] not in ".~")
        names = [name for name in found if name.casefold().endswith(".csv")]
        passed_over = ", ".join(name for name in found if name not in names)
        if passed_over:
            self.notices.append(f"log: {passed_over}: not a .csv file, so not read.")
        return [f"log/{name}" for name in names]

    def table(self, file: str, name: str, *, required: bool = False) -> CheckedTable | None:
        data = self.bytes(file, required=required)
        if data is None:
            return None
        try:
            table = read_table(data, file, name)
        except InputError as error:
            self.problems += error.problems
            self.unreadable.add(file)
            return None
        self.problems += table.problems
        if self.today is not None and name != "away":
            self.problems += _in_the_future(table, self.today)
        if table.ignored:
            columns = ", ".join(c or "a column without a name" for c in table.ignored)
            self.notices.append(f"{file}: {columns}: not known, kept in the file and ignored.")
        return table

    def bytes(self, file: str, *, required: bool) -> bytes | None:
        path = self.folder / file
        if not path.exists():
            if required:
                self.problems.append(Problem(file, None, "", "", "is missing"))
            return None
        try:
            if not path.is_file() or path.stat().st_size > _LARGEST_FILE_BYTES:
                raise OSError("it is not a file of at most 50 MB")
            return path.read_bytes()
        except OSError as error:
            reason = error.strerror or str(error)
            self.problems.append(Problem(file, None, "", "", f"could not be read: {reason}"))
            self.unreadable.add(file)
            return None


def _in_the_future(table: CheckedTable, today: date) -> list[Problem]:
    rule = f"must not lie in the future (today is {today})"
    problems = []
    for column in table.frame.select_dtypes("datetime").columns:
        problems += table.problems_where(table.frame[column] > pd.Timestamp(today), column, rule)
    return problems
