"""A build folder: every file of one build, read and checked together."""

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
# A log of 100 000 sessions has about 10 MB; anything larger is some other file, and is not loaded.
_LARGEST_FILE_BYTES = 50_000_000


@dataclass(frozen=True, kw_only=True)
class Build:
    """One build, as read from its folder.

    Attributes
    ----------
    folder : path of the folder
    name, country : from build.toml; country is an ISO 3166 code of two letters or None
    builders, limits, plan, deliveries, away : the records of the folder
    sessions : one row per log row, sorted by date, until, file, line (columns: schemas/sessions.json)
    notices : sentences about what is odd or ignored
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


@dataclass(frozen=True, kw_only=True)
class PartialBuild:
    """What a new row must fit: the valid part of a build whose other rows may be wrong.

    Attributes
    ----------
    settings : build.toml
    plan, plan_lines : the plan (without tasks where there is no plan.csv), and the line of each task
    logs : the log files that exist
    deliveries : ids of deliveries.csv
    """

    settings: BuildSettings
    plan: Plan
    plan_lines: dict[str, int]
    logs: tuple[CheckedTable, ...]
    deliveries: frozenset[str]


def read_build(folder: Path | str) -> Build:
    """Read a build folder.

    Raises
    ------
    InputError : every problem of every file at once
    """
    return _FolderReader(folder=Path(folder), today=None).build()


def check_build(folder: Path | str, today: date) -> Build:
    """Read a build folder and reject sessions, orders, arrivals and new tasks after `today`.

    Parameters
    ----------
    folder : path of the build folder
    today : last day that a session, an order, an arrival or a new task may have

    Raises
    ------
    InputError : every problem of every file at once
    """
    return _FolderReader(folder=Path(folder), today=today).build()


def read_partial_build(folder: Path | str) -> PartialBuild:
    """Read what a new row must fit, ignoring bad cells, a missing plan and an empty log.

    Raises
    ------
    InputError : when build.toml is wrong, or a file cannot be read at all
    """
    reader = _FolderReader(folder=Path(folder), today=None)
    reader.require_folder()
    settings = reader.settings()
    plan_table = reader.table("plan.csv", "plan")
    deliveries = reader.table("deliveries.csv", "deliveries")
    logs = [reader.table(name, "log") for name in reader.log_names()]
    fatal = [p for p in reader.problems if p.file in {"build.toml", *reader.unreadable}]
    if settings is None or fatal:
        raise InputError(fatal)
    plan = read_plan(plan_table)[0] if plan_table else Plan(tasks=())
    lines = plan_table.line.tolist() if plan_table else []
    return PartialBuild(
        settings=settings,
        plan=plan,
        plan_lines={t.task: line for t, line in zip(plan.tasks, lines, strict=True)},
        logs=tuple(table for table in logs if table is not None),
        deliveries=frozenset(deliveries.frame["delivery"]) if deliveries else frozenset(),
    )


def log_files(folder: Path) -> list[Path]:
    """The files of the log: log.csv, then the visible .csv files of the folder log/ by name."""
    whole, parts = folder / "log.csv", folder / "log"
    visible = [p for p in parts.iterdir() if not _is_hidden(p)] if parts.is_dir() else []
    return [whole] * whole.exists() + sorted(p for p in visible if p.suffix.casefold() == ".csv")


def start_build(folder: Path | str, today: date | None = None) -> tuple[str, ...]:
    """Create a build folder with comments and a few invented rows to overwrite.

    Parameters
    ----------
    folder : path of a new or empty folder
    today : the day of the last invented session, so that the first forecast is one of a build that has just
        begun; None keeps the days of the starter files, after which the build would seem to have paused

    Returns
    -------
    The names of the files.

    Raises
    ------
    InputError : when the folder is not empty or cannot be created
    """
    folder = Path(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError.about(str(folder), "already exists: name a new or empty folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in STARTER_FILES:
            with (folder / name).open("xb") as file:
                file.write(starter_file(name, today))
    except OSError as error:
        raise InputError.about(str(folder), f"could not be created: {error.strerror}") from None
    return STARTER_FILES


def starter_file(name: str, today: date | None = None) -> bytes:
    """Content of one of the `STARTER_FILES`.

    Parameters
    ----------
    name : name of the file
    today : the day of the last invented session in log.csv; None keeps the days of the starter file
    """
    data = (resources.files("forecast") / "schemas" / "starter" / name).read_bytes()
    if today is None or name != "log.csv":
        return data
    shift = today - date.fromisoformat(max(_ISO_DAY.findall(data.decode())))
    return _ISO_DAY.sub(lambda day: str(date.fromisoformat(day[0]) + shift), data.decode()).encode()


def _is_hidden(path: Path) -> bool:
    """Hidden files, and the lock files that spreadsheets leave."""
    return path.name[0] in ".~"


@dataclass(kw_only=True)
class _FolderReader:
    """One pass over a folder that collects problems and notices on the way."""

    folder: Path
    today: date | None
    problems: list[Problem] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    unreadable: set[str] = field(default_factory=set)

    def build(self) -> Build:
        self.require_folder()
        settings = self.settings()
        deliveries_table = self.table("deliveries.csv", "deliveries")
        away_table = self.table("away.csv", "away")
        plan_table = self.table("plan.csv", "plan", required=True)
        logs = self.logs()
        builders = settings.builders if settings else None
        plan = self.plan(plan_table, settings, deliveries_table)
        stages = plan.stages if plan else None
        deliveries, wrong = read_deliveries(deliveries_table, stages) if deliveries_table else ((), [])
        away, wrong_away = read_away(away_table, builders) if away_table else ((), [])
        sessions, wrong_log, odd = read_sessions(logs, builders, plan)
        self.problems += wrong + wrong_away + wrong_log
        if self.problems or settings is None or plan is None:
            raise InputError(self.problems)
        return Build(
            folder=self.folder,
            name=settings.name or self.folder.resolve().name,
            country=settings.country,
            builders=settings.builders,
            limits=settings.limits,
            plan=plan,
            sessions=sessions,
            deliveries=deliveries,
            away=away,
            notices=(*self.notices, *odd),
        )

    def require_folder(self) -> None:
        if not self.folder.is_dir():
            raise InputError.about(str(self.folder), "is not a folder")

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
        ids = set(deliveries.frame["delivery"]) if deliveries else set()
        limits = {x.id: x.amount for x in settings.limits} if settings else None
        known = None if "deliveries.csv" in self.unreadable else ids
        plan, problems = read_plan(table, limits=limits, deliveries=known)
        self.problems += problems
        if not plan.tasks:
            sentence = "has no tasks yet: add one row per task"
            self.problems.append(Problem(table.file, None, "", "", sentence))
        return plan

    def logs(self) -> list[CheckedTable]:
        """log.csv, or the files of the folder log/, or both."""
        names = self.log_names() or ["log.csv"]
        tables = [t for name in names if (t := self.table(name, "log", required=True)) is not None]
        if len(tables) == len(names) and not any(len(table.line) for table in tables):
            sentence = "has no sessions yet: add one row per session, or use `benchdays log`"
            self.problems.append(Problem(tables[0].file, None, "", "", sentence))
        return tables

    def log_names(self) -> list[str]:
        """Names of the log files within the folder; a notice names the other files in log/."""
        paths = log_files(self.folder)
        parts = (self.folder / "log").iterdir() if (self.folder / "log").is_dir() else ()
        others = ", ".join(sorted(p.name for p in parts if p not in paths and not _is_hidden(p)))
        if others:
            self.notices.append(f"log: {others}: not a .csv file, so not read.")
        return [p.relative_to(self.folder).as_posix() for p in paths]

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
        if self.today is not None and name != "away":  # days away may be planned ahead
            self.problems += _in_the_future(table, self.today)
        if table.ignored:
            columns = ", ".join(c or "a column without a name" for c in table.ignored)
            self.notices.append(f"{file}: unknown columns, ignored: {columns}.")
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
