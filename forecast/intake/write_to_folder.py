"""Write what an intake proposes into the build folder: each file whole or not at all, nothing twice."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from forecast.errors import InputError, Problem
from forecast.files.build_settings import read_settings
from forecast.files.csv_file import decode_text, format_record, with_records
from forecast.files.plan import Task
from forecast.files.storage import change_file
from forecast.files.tables import read_table, table_schema
from forecast.intake.changes_since_last_take import ChangedRow
from forecast.intake.destination import NOT_BUILDING, is_example, read_contents
from forecast.intake.proposal import Intake
from forecast.intake.saved_reading import FILE, SavedSheet, read_saved, write_saved
from forecast.intake.session_rows import Content, SessionRow

_APART_COLUMNS = (*table_schema("log").columns, "kind")


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What a take has done.

    Attributes
    ----------
    folder : where to
    added : rows written to the log
    apart : rows written to not_building.csv
    stages : tasks written to plan.csv, one a stage
    builders : ids written to build.toml
    already : rows of the sheet that the folder had before
    changed : rows that were changed in the sheet after an earlier take; the folder keeps what it has
    gone : rows taken earlier that the sheet no longer has; the folder keeps them
    reported : rows that could not be taken, one problem each
    files : names of the files that were written
    """

    folder: Path
    added: int
    apart: int
    stages: tuple[str, ...]
    builders: tuple[str, ...]
    already: int
    changed: tuple[ChangedRow, ...]
    gone: int
    reported: tuple[Problem, ...]
    files: tuple[str, ...]


def take_in(intake: Intake) -> Taken:
    """Write the new rows of an intake, the coarse plan and the builders it proposes, and take.toml.

    Rows that came into the folder since the proposal are not written a second time. Where something
    stops the writing half-way, taking the same file again adds exactly what is missing.

    Raises
    ------
    InputError in one sentence when a file cannot be written.
    """
    folder = intake.destination.folder
    _make_folder(folder)
    files: list[str] = []
    rows = [r for j in intake.new for r in j.rows]
    added = apart = 0
    if rows:
        files += _write_builders(intake) + _write_plan(intake)
        apart = _add(intake, folder / NOT_BUILDING, [r for r in rows if r.apart], _APART_COLUMNS)
        log = intake.destination.log_file
        added = _add(intake, log, [r for r in rows if not r.apart], table_schema("log").columns)
        files += [NOT_BUILDING] if apart else []
        files += [log.relative_to(folder).as_posix()] if added else []
    if intake.rows:
        _remember(intake)
        files.append(FILE)
    return Taken(
        folder=folder,
        added=added,
        apart=apart,
        stages=tuple(t.stage for t in intake.plan.tasks) if intake.plan and rows else (),
        builders=intake.crew.new_builders if rows else (),
        already=len(intake.since.already),
        changed=intake.changed,
        gone=len(intake.since.gone),
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


def plan_rows(tasks: Sequence[Task]) -> list[dict[str, str]]:
    """The rows of a coarse plan.csv: hours are left blank for the builder."""
    return [
        {"task": t.task, "stage": t.stage, "title": t.title, "type": t.type, "quantity": "1"} for t in tasks
    ]


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = error.strerror or "it cannot be made"
        raise InputError([Problem(str(folder), None, "", "", f"could not be made: {reason}")]) from None


def _write_builders(intake: Intake) -> list[str]:
    """build.toml with the builders that it lacks, everything else in it as it was."""
    folder = intake.destination.folder
    if not intake.crew.new_builders and (folder / "build.toml").exists():
        return []

    def change(data: bytes) -> bytes:
        fresh = not data.strip() or is_example("build.toml", data)
        text = f"name = {_toml_text(folder.resolve().name)}\n" if fresh else decode_text(data, "build.toml")
        settings = read_settings(text.encode("utf-8"))[0]
        known = {b.id for b in settings.builders} if settings else set()
        new = [b for b in intake.crew.new_builders if b not in known]
        after = (text + "".join(f"\n[[builder]]\nid = {_toml_text(b)}\n" for b in new)).encode("utf-8")
        problems = read_settings(after)[1]
        if problems:
            raise InputError(problems)
        return after

    change_file(folder / "build.toml", change)
    return ["build.toml"]


def _toml_text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _write_plan(intake: Intake) -> list[str]:
    """The coarse plan where there is none, and the invented rows of `start` out of all tables."""
    folder, examples = intake.destination.folder, intake.destination.examples
    written = []
    for name in ("plan", "deliveries", "away", "log"):
        file = f"{name}.csv"
        if file in examples and (name == "log" or "plan.csv" in examples):
            change_file(folder / file, _without_example(name))
            written.append(file)
    if intake.plan is not None:
        change_file(folder / "plan.csv", _with_tasks(intake.plan.tasks))
        written.append("plan.csv")
    return list(dict.fromkeys(written))


def _without_example(name: str) -> Callable[[bytes], bytes]:
    header = (format_record(table_schema(name).columns, ",") + "\n").encode()
    return lambda data: header if is_example(f"{name}.csv", data) else data


def _with_tasks(tasks: Sequence[Task]) -> Callable[[bytes], bytes]:
    """plan.csv with the tasks that it does not have yet."""
    columns = table_schema("plan").columns

    def change(data: bytes) -> bytes:
        there = set(read_table(data, "plan.csv", "plan").cells["task"]) if data.strip() else set()
        new = [t for t in tasks if t.task not in there]
        return with_rows(data, "plan.csv", columns, plan_rows(new)) if new else data

    return change


def _add(intake: Intake, path: Path, rows: Sequence[SessionRow], columns: Sequence[str]) -> int:
    """Append rows to a log file, but not those that somebody else has added since the proposal."""
    if not rows:
        return 0
    destination = intake.destination
    first = intake.crew.builders[0]
    name = path.relative_to(destination.folder).as_posix()
    count = 0
    if not path.exists():
        path.parent.mkdir(exist_ok=True)
        change_file(path, lambda d: d or (format_record(columns, ",") + "\n").encode(), keep_version=False)
    known = destination.apart if path.name == NOT_BUILDING else destination.log

    def change(data: bytes) -> bytes:
        nonlocal count
        since = read_contents(data, name, first) - known
        kept = _not_there(rows, since)
        count = len(kept)
        return with_rows(data, name, columns, [{**r.cells, "kind": r.apart} for r in kept]) if kept else data

    change_file(path, change)
    return count


def _not_there(rows: Sequence[SessionRow], there: Counter[Content]) -> list[SessionRow]:
    left = Counter(there)
    kept = []
    for row in rows:
        if left[row.content] > 0:
            left[row.content] -= 1
        else:
            kept.append(row)
    return kept


def _remember(intake: Intake) -> None:
    """take.toml with the rows that the folder now has; what is no longer in the sheet is not forgotten."""
    since = intake.since
    there = [intake.marks[i] for i in sorted((*since.already, *since.new, *since.lost))]
    marks = (*there, *(change.was for change in since.changed), *since.gone)
    sheet = SavedSheet(
        file=intake.file,
        headings=intake.headings,
        keyed=intake.before.keyed if intake.before else intake.keyed,
        answers=intake.answers,
        marks=tuple(marks),
    )

    def change(data: bytes) -> bytes:
        saved = read_saved(data)
        before = saved.sheet_for(intake.file, intake.headings)
        return write_saved(saved.with_sheet(sheet, before, intake.answers.types))

    change_file(intake.destination.folder / FILE, change, keep_version=False)
