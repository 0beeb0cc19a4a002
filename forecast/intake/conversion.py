"""From rows as read to rows of log.csv: labels, people, plan tasks, kinds of work, several tasks in one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from forecast.errors import Problem
from forecast.files.plan import Task
from forecast.intake.builder_answers import Several
from forecast.intake.cells.labels import Labels, split_labels
from forecast.intake.cells.people import MOST_HELPERS, People, SheetCrew
from forecast.intake.cells.phrases import clause_not_building, is_rework, not_building, split_tasks
from forecast.intake.cells.task_types import GENERAL
from forecast.intake.parsed_rows import ParsedRow
from forecast.intake.session_rows import Content, SessionRow
from forecast.intake.sheet_cells import one_line

_BETWEEN = " | "
_LEAST_HOURS = 0.0001
_LEAST_ROWS_OF_A_KIND = 3


@dataclass(frozen=True, kw_only=True)
class ConversionRules:
    """What the rows of a sheet are joined with.

    Attributes
    ----------
    crew : who the names are
    stages : how stage labels are spelled
    kinds : how the labels of a type column are spelled
    types : text -> task type, as the classifier suggests
    by_task : tasks of the plan by id and title
    of_stage : the only task of a stage that the plan holds as one row
    own_log : the sheet is a log of this program: nothing is read from its words
    """

    crew: SheetCrew
    stages: Labels
    kinds: Labels
    types: Mapping[str, str]
    by_task: Mapping[str, Task]
    of_stage: Mapping[str, Task]
    several: Several = "keep"
    own_log: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ConvertedRow:
    """One row of the sheet and what it gives for the log, in one piece or several."""

    raw: ParsedRow
    rows: tuple[SessionRow, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    """A share of a row: its hours, its words, its stage, and the kind of work that is not building."""

    hours: float
    words: str
    stage: str
    apart: str


def stage_labels(raw: ParsedRow, whole: Iterable[str] = ()) -> list[str]:
    """The stage labels of one row; a label of the plan is not cut."""
    return [raw.stage] if raw.stage in set(whole) else split_labels(raw.stage)


def task_text(raw: ParsedRow, by_task: Mapping[str, Task]) -> str:
    """The words that tell the kind of work: the texts, and the task where the plan does not know it."""
    unknown = raw.task if one_line(raw.task).casefold() not in by_task else ""
    return "; ".join(filter(None, (unknown, raw.words)))


def convert_row(raw: ParsedRow, joining: ConversionRules) -> ConvertedRow | Problem:
    """The log rows of one row of the sheet.

    Returns
    -------
    ConvertedRow, or the problem that keeps the row out.
    """
    builders, helpers, stand_in = joining.crew.resolve(_together(raw))
    people = len(builders) + helpers
    days = (raw.day.end - raw.day.start).days + 1
    clock = sum(p.hours / (people if p.unit == "person_hours" else 1) for p in raw.parts)
    if helpers > MOST_HELPERS:
        return _problem(raw, f"cannot be taken: {people} people are too many for one row")
    if clock > 24 * days:
        return _problem(raw, f"cannot be taken: {clock:g} hours a person are too many for {days} day(s)")
    task = _task(raw, joining)
    labels = stage_labels(raw, {t.stage for t in joining.by_task.values()})
    remarks = list(raw.remarks)
    remarks += ["stand-in"] if stand_in else []
    remarks += ["several labels"] if len(labels) > 1 and task is None else []
    pieces = _pieces(raw, joining, task, labels, people, remarks)
    if any(p.hours < _LEAST_HOURS for p in pieces):
        return _problem(raw, "cannot be taken: its hours are too few to write down")
    rows = []
    for place, piece in enumerate(pieces):
        last = place == len(pieces) - 1
        row = SessionRow(
            date=raw.day.start,
            until=raw.day.end,
            start=raw.start,
            hours=round(piece.hours, 4),
            builders=builders,
            helpers=helpers,
            apart=piece.apart,
        )
        rows.append(_with_work(row, raw, piece, joining, task, alone=len(pieces) == 1, last=last))
    remarks += ["rework"] if raw.rework is None and any(r.rework for r in rows) else []
    return ConvertedRow(raw=raw, rows=tuple(rows), remarks=tuple(remarks))


def without_repeated_done(joined: Sequence[ConvertedRow], there: Counter[Content]) -> list[ConvertedRow]:
    """Take `done` from a row whose task an earlier row has finished with no session in between.

    The log may say that a task is finished once; the word is kept in the note.
    """
    places = [(i, k) for i, j in enumerate(joined) for k, r in enumerate(j.rows) if r.task]
    events: list[tuple[tuple[object, ...], bool, bool, tuple[int, int] | None]] = []
    for i, k in places:
        r = joined[i].rows[k]
        order: tuple[object, ...] = (r.task, r.until, r.done, r.start, 1, joined[i].raw.row.line, k)
        events.append((order, r.done, r.rework, (i, k)))
    tasks = {joined[i].rows[k].task for i, k in places}
    for content in there.elements():
        _, until, start, _, _, task, *_, done, rework, _ = content
        if task in tasks:
            events.append(((task, until, done, start, 0, 0, 0), bool(done), bool(rework), None))
    events.sort(key=lambda e: e[0])
    repeated: set[tuple[int, int]] = set()
    finished, task_before = False, None
    for order, done, rework, place in events:
        again = done and not rework and finished and order[0] == task_before
        if again and place is not None:
            repeated.add(place)
        finished, task_before = done, order[0]
    return [_not_done(j, {k for i, k in repeated if i == number}) for number, j in enumerate(joined)]


def _not_done(joined: ConvertedRow, places: set[int]) -> ConvertedRow:
    if not places:
        return joined
    rows = tuple(
        replace(r, done=False, note=_BETWEEN.join(filter(None, (r.note, "done")))) if k in places else r
        for k, r in enumerate(joined.rows)
    )
    return replace(joined, rows=rows, remarks=(*joined.remarks, "done twice"))


def _together(raw: ParsedRow) -> People:
    helpers = raw.helpers
    if not helpers.names and not helpers.unnamed:
        return raw.people
    base = raw.people if raw.people.names or raw.people.unnamed else People(names=("me",))
    names = tuple(dict.fromkeys([*base.names, *helpers.names]))
    return People(names=names, unnamed=base.unnamed + helpers.unnamed)


def _problem(raw: ParsedRow, reason: str) -> Problem:
    return Problem(raw.row.file, raw.row.line, "", "", reason)


def _task(raw: ParsedRow, joining: ConversionRules) -> Task | None:
    """The task of the plan that the row names, by id or by title."""
    for words in (raw.task,) if joining.own_log else (raw.task, raw.words):
        found = joining.by_task.get(one_line(words).casefold()) if words else None
        if found is not None:
            return found
    return None


def _pieces(
    raw: ParsedRow,
    joining: ConversionRules,
    task: Task | None,
    labels: Sequence[str],
    people: int,
    remarks: list[str],
) -> list[_Piece]:
    words = task_text(raw, joining.by_task)
    tasks = split_tasks(words)
    stage = joining.stages(labels[0]) if labels else ""
    kind = "" if joining.own_log or task is not None else _kind_apart(raw, words)
    shares = [p.hours / (people if p.unit == "person_hours" else 1) for p in raw.parts]
    if len(raw.parts) > 1:
        return [
            _Piece(hours=h, words=words, stage=stage, apart=kind or clause_not_building(p.what))
            for h, p in zip(shares, raw.parts, strict=True)
        ]
    if len(tasks) > 1 and not joining.own_log:
        remarks.append("several tasks")
    if joining.several == "split" and task is None and not joining.own_log:
        return _equal_shares(shares[0], words, tasks, [joining.stages(x) for x in labels])
    return [_Piece(hours=shares[0], words=words, stage=stage, apart=kind)]


def _equal_shares(hours: float, words: str, tasks: Sequence[str], stages: Sequence[str]) -> list[_Piece]:
    """As many equal shares as the row has tasks, or else labels; the n-th task goes to the n-th label."""
    count = max(len(tasks) if len(tasks) > 1 else 1, len(stages), 1)
    texts = list(tasks) if len(tasks) == count and count > 1 else [words] * count
    where = list(stages) if len(stages) == count else [stages[0] if stages else ""] * count
    return [
        _Piece(hours=hours / count, words=text, stage=stage, apart=not_building(text))
        for text, stage in zip(texts, where, strict=True)
    ]


def _kind_apart(raw: ParsedRow, words: str) -> str:
    return not_building(words) or clause_not_building(raw.type) or clause_not_building(raw.stage)


def _with_work(
    row: SessionRow,
    raw: ParsedRow,
    piece: _Piece,
    joining: ConversionRules,
    task: Task | None,
    *,
    alone: bool,
    last: bool,
) -> SessionRow:
    """The row with its task, stage, type, progress and note."""
    # A log of our own says by itself what lies outside the plan.
    outside = bool(piece.apart) or (joining.own_log and bool(joining.by_task))
    of_stage = None if outside or task is not None else joining.of_stage.get(piece.stage)
    found = task or of_stage
    kind = joining.kinds(raw.type) if raw.type else joining.types.get(one_line(piece.words), GENERAL)
    said = "; ".join((piece.words, *raw.notes))
    rework = is_rework(said) if raw.rework is None and not joining.own_log else bool(raw.rework)
    quantity = raw.quantity if alone else None
    percent = raw.percent if alone else None
    done = bool(raw.done) and last
    kept: list[str] = []
    if task is None and not joining.own_log:
        # What the sheet says of a task of its own is not true of a whole stage, nor of work outside the plan.
        kept = _progress_words(quantity if of_stage else None, percent, done)
        quantity, percent, done = None if of_stage else quantity, None, False
    stage = "" if found else piece.stage
    return replace(
        row,
        task=found.task if found else "",
        stage=stage,
        type="" if found or piece.apart or kind == GENERAL else kind,
        quantity=quantity,
        percent=percent,
        done=done,
        rework=rework,
        note=_note(raw, piece, joining, task, kept, alone=alone),
    )


def _progress_words(quantity: float | None, percent: float | None, done: bool) -> list[str]:
    words = [f"{quantity:g} pieces"] if quantity is not None else []
    words += [f"{percent:g} %"] if percent is not None else []
    return words + (["done"] if done else [])


def _note(
    raw: ParsedRow,
    piece: _Piece,
    joining: ConversionRules,
    task: Task | None,
    kept: Sequence[str],
    *,
    alone: bool,
) -> str:
    """Every word of the row that has no column of its own."""
    texts = [*raw.texts, *raw.notes] if alone or not raw.texts else [piece.words, *raw.notes]
    unknown = raw.task if task is None and alone else ""
    labels = raw.stage if len(split_labels(raw.stage)) > 1 or (task and raw.stage != task.stage) else ""
    kind = raw.type if task and raw.type else ""
    words = [unknown, *texts, labels and f"stage: {labels}", kind and f"type: {kind}", *kept, *raw.left]
    return _BETWEEN.join(dict.fromkeys(filter(None, words)))


def main_kinds(joined: Iterable[ConvertedRow]) -> dict[str, str]:
    """The type that more than half of the person-hours of a stage went into (three rows or more)."""
    hours: dict[str, dict[str, list[float]]] = {}
    for j in joined:
        for r in j.rows:
            if r.stage and not r.apart:
                of_stage = hours.setdefault(r.stage, {})
                of_stage.setdefault(r.type or GENERAL, []).append(r.hours * r.people)
    main = {}
    for stage, of_stage in hours.items():
        kind = max(of_stage, key=lambda k: (sum(of_stage[k]), k))
        most = sum(of_stage[kind]) > 0.5 * sum(map(sum, of_stage.values()))
        if kind != GENERAL and most and len(of_stage[kind]) >= _LEAST_ROWS_OF_A_KIND:
            main[stage] = kind
    return main


def stages_in_order(joined: Iterable[ConvertedRow]) -> list[str]:
    """The stages of the rows that build, by the first day on which each was worked on."""
    first: dict[str, tuple[object, ...]] = {}
    for j in joined:
        for r in j.rows:
            if r.stage and not r.apart:
                day = (r.date, j.raw.row.line)
                first[r.stage] = min(first.get(r.stage, day), day)
    return sorted(first, key=lambda stage: first[stage])
