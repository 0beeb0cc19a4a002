"""Write what an intake proposes into the build folder: each file completely or not at all, no row twice."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from forecast.errors import InputError, Problem
from forecast.files.build_settings import read_settings
from forecast.files.csv_file import decode_text, format_record, with_records
from forecast.files.plan import Task
from forecast.files.storage import change_file
from forecast.files.tables import read_table, table_schema
from forecast.intake.changes_since_last_take import ChangedRow, spend
from forecast.intake.destination import NOT_BUILDING, count_contents, is_starter_file
from forecast.intake.proposal import Intake
from forecast.intake.saved_reading import FILE, SavedSheet, read_saved, toml_text, write_saved
from forecast.intake.session_rows import SessionRow

_LOG_COLUMNS = table_schema("log").columns
_PLAN_COLUMNS = table_schema("plan").columns


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What a take has done.

    Attributes
    ----------
    folder : the build folder
    added, set_aside : number of rows written to the log and to not_building.csv
    stages : stages of the plan that was written, one task each
    builders : ids written to build.toml
    already : number of rows of the sheet that the folder had before
    changed : rows that were changed in the sheet after an earlier take; the folder keeps its own version
    gone : number of rows taken in earlier that the sheet no longer has; the folder keeps them
    reported : the rows that could not be taken in, one problem each
    files : names of the files that were written
    """

    folder: Path
    added: int
    set_aside: int
    stages: tuple[str, ...]
    builders: tuple[str, ...]
    already: int
    changed: tuple[ChangedRow, ...]
    gone: int
    reported: tuple[Problem, ...]
    files: tuple[str, ...]


def take_in(intake: Intake) -> Taken:
    """Write the new rows of an intake, the coarse plan and the builders that it proposes, and take.toml.

    Rows that somebody has added to the folder since the proposal are not written again. If writing is
    interrupted, taking in the same file again adds exactly what is missing.

    Raises
    ------
    InputError : when a file cannot be written
    """
    folder = intake.destination.folder
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        sentence = f"could not be created: {error.strerror or 'unknown reason'}"
        raise InputError.about(str(folder), sentence) from None
    files: list[str] = []
    rows = [r for c in intake.new for r in c.rows]
    added = set_aside = 0
    if rows:
        files += _write_builders(intake) + _write_plan(intake)
        aside = [r for r in rows if r.set_aside]
        set_aside = _add(intake, folder / NOT_BUILDING, aside, (*_LOG_COLUMNS, "kind"))
        log = intake.destination.log_file
        added = _add(intake, log, [r for r in rows if not r.set_aside], _LOG_COLUMNS)
        files += [NOT_BUILDING] if set_aside else []
        files += [log.relative_to(folder).as_posix()] if added else []
    if intake.rows:
        _save_reading(intake)
        files.append(FILE)
    return Taken(
        folder=folder,
        added=added,
        set_aside=set_aside,
        stages=tuple(t.stage for t in intake.plan.tasks) if intake.plan and rows else (),
        builders=intake.crew.new_builders if rows else (),
        already=len(intake.changes.already),
        changed=intake.changes.changed,
        gone=len(intake.changes.gone),
        reported=intake.reported,
        files=tuple(files),
    )


def with_rows(data: bytes, name: str, columns: Sequence[str], rows: Sequence[dict[str, str]]) -> bytes:
    """A CSV file with more rows at its end; a blank file gets a header first.

    Parameters
    ----------
    data : content of the file
    name : its name in problems
    columns : columns that the file may have
    rows : texts by column

    Raises
    ------
    InputError : when the file cannot be parsed

    Examples
    --------
    >>> with_rows(b"hours;weather;date\\n2;sun;2026-03-02\\n", "log.csv", ["date", "hours"],
    ...           [{"date": "2026-03-03", "hours": "1.5"}, {"date": "2026-03-04", "hours": "1"}])
    b'hours;weather;date\\n2;sun;2026-03-02\\n1.5;;2026-03-03\\n1;;2026-03-04\\n'
    """
    if not data.strip():
        data = (format_record(columns, ",") + "\n").encode()
    return with_records(data, name, columns, rows)[0]


def _write_builders(intake: Intake) -> list[str]:
    """Add the builders that build.toml lacks, and leave everything else in it unchanged."""
    folder = intake.destination.folder
    if not intake.crew.new_builders and (folder / "build.toml").exists():
        return []

    def change(data: bytes) -> bytes:
        is_new = not data.strip() or is_starter_file("build.toml", data)
        text = f"name = {toml_text(folder.resolve().name)}\n" if is_new else decode_text(data, "build.toml")
        settings = read_settings(text.encode("utf-8"))[0]
        known = {b.id for b in settings.builders} if settings else set()
        new = [b for b in intake.crew.new_builders if b not in known]
        after = (text + "".join(f"\n[[builder]]\nid = {toml_text(b)}\n" for b in new)).encode("utf-8")
        problems = read_settings(after)[1]
        if problems:
            raise InputError(problems)
        return after

    change_file(folder / "build.toml", change)
    return ["build.toml"]


def _write_plan(intake: Intake) -> list[str]:
    """Write the coarse plan where there is none, and delete the invented rows of `start` from all tables."""
    folder, starter_files = intake.destination.folder, intake.destination.starter_files
    written = []
    for name in ("plan", "deliveries", "away", "log"):
        file = f"{name}.csv"
        if file in starter_files and (name == "log" or "plan.csv" in starter_files):
            change_file(folder / file, _without_invented_rows(name))
            written.append(file)
    if intake.plan is not None:
        change_file(folder / "plan.csv", _with_tasks(intake.plan.tasks))
        written.append("plan.csv")
    return list(dict.fromkeys(written))


def _without_invented_rows(name: str) -> Callable[[bytes], bytes]:
    header = (format_record(table_schema(name).columns, ",") + "\n").encode()
    return lambda data: header if is_starter_file(f"{name}.csv", data) else data


def _with_tasks(tasks: Sequence[Task]) -> Callable[[bytes], bytes]:
    """Add the tasks that plan.csv does not have yet."""

    def change(data: bytes) -> bytes:
        present = set(read_table(data, "plan.csv", "plan").cells["task"]) if data.strip() else set()
        rows = [
            {"task": t.task, "stage": t.stage, "title": t.title, "type": t.type, "quantity": "1"}
            for t in tasks
            if t.task not in present
        ]
        return with_rows(data, "plan.csv", _PLAN_COLUMNS, rows) if rows else data

    return change


def _add(intake: Intake, path: Path, rows: Sequence[SessionRow], columns: Sequence[str]) -> int:
    """Append rows to a log file, except those that somebody has added since the proposal."""
    if not rows:
        return 0
    destination = intake.destination
    name = path.relative_to(destination.folder).as_posix()
    count = 0
    if not path.exists():
        path.parent.mkdir(exist_ok=True)
        header = (format_record(columns, ",") + "\n").encode()
        change_file(path, lambda data: data or header, keep_version=False)
    known = destination.set_aside if path.name == NOT_BUILDING else destination.log

    def change(data: bytes) -> bytes:
        nonlocal count
        added_since = count_contents(data, name, intake.crew.builders[0]) - known
        new = [row for row in rows if not spend(added_since, row.content)]
        count = len(new)
        cells = [{**row.cells, "kind": row.set_aside} for row in new]
        return with_rows(data, name, columns, cells) if cells else data

    change_file(path, change)
    return count


def _save_reading(intake: Intake) -> None:
    """Store how the sheet was read and which rows the folder has now; rows gone from the sheet stay."""
    changes = intake.changes
    present = [intake.fingerprints[i] for i in sorted((*changes.already, *changes.new, *changes.lost))]
    sheet = SavedSheet(
        file=intake.file,
        headings=intake.headings,
        keyed=intake.keyed,
        answers=intake.answers,
        taken=(*present, *(change.before for change in changes.changed), *changes.gone),
    )

    def change(data: bytes) -> bytes:
        saved = read_saved(data)
        before = saved.sheet_for(intake.file, intake.headings)
        return write_saved(saved.with_sheet(sheet, before, intake.answers.types))

    # Without a version, so that undo restores the log and not this file.
    change_file(intake.destination.folder / FILE, change, keep_version=False)
