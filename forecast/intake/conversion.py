"""Convert parsed rows to rows of the log: labels, people, tasks of the plan, kinds of work, rows to split."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from forecast.errors import Problem
from forecast.files.plan import Task
from forecast.intake.builder_answers import Several
from forecast.intake.cells.labels import Labels, split_labels
from forecast.intake.cells.people import MOST_HELPERS, SELF, People, SheetCrew
from forecast.intake.cells.phrases import clause_not_building, is_rework, not_building, split_tasks
from forecast.intake.cells.task_types import GENERAL
from forecast.intake.parsed_rows import ParsedRow
from forecast.intake.session_rows import Content, SessionRow
from forecast.intake.sheet_cells import one_line

_BETWEEN = " | "
_LEAST_HOURS = 0.0001  # the log holds four decimals
_LEAST_ROWS_OF_A_KIND = 3  # judgement: fewer rows do not show what a stage mostly consists of


@dataclass(frozen=True, kw_only=True)
class ConversionRules:
    """What the rows of a sheet are converted by.

    Attributes
    ----------
    crew : builders and helpers behind the names
    stages : labels of the stages
    kinds : labels of a column of types
    types : text -> task type, as the classifier suggests
    by_task : id or title (case-folded) -> task of the plan
    of_stage : stage that has only one task in the plan -> this task
    several : keep a row with several tasks or labels, or split it
    own_log : the sheet is a log of this program, so that nothing is inferred from its words
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
    """One row of the sheet, the rows of the log that it gives, and the names of what is unusual about it."""

    parsed: ParsedRow
    rows: tuple[SessionRow, ...]
    remarks: tuple[str, ...]

    @property
    def line(self) -> int:
        """The line of the row in its file."""
        return self.parsed.row.line

    @property
    def is_set_aside(self) -> bool:
        """Whether no part of the row is work on the build."""
        return all(row.set_aside for row in self.rows)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    """A share of a row: its hours, words and stage, and the kind of work if it is not building."""

    hours: float
    words: str
    stage: str
    set_aside: str


def stage_labels(parsed: ParsedRow, whole: Iterable[str] = ()) -> list[str]:
    """The stage labels of one row; a stage of the plan (`whole`) is not split."""
    return [parsed.stage] if parsed.stage in set(whole) else split_labels(parsed.stage)


def task_text(parsed: ParsedRow, by_task: Mapping[str, Task]) -> str:
    """The words that show the kind of work: the texts, and the task if the plan does not have it."""
    unknown = parsed.task if one_line(parsed.task).casefold() not in by_task else ""
    return "; ".join(filter(None, (unknown, parsed.words)))


def convert_row(parsed: ParsedRow, rules: ConversionRules) -> ConvertedRow | Problem:
    """Convert one row of the sheet to rows of the log.

    Parameters
    ----------
    parsed : the row
    rules : the rules for the sheet

    Returns
    -------
    The rows, or the problem that excludes the row.
    """
    builders, helpers, replaced = rules.crew.resolve(_everybody(parsed))
    conversion = _Conversion(parsed=parsed, rules=rules, people=len(builders) + helpers)
    reason = conversion.too_large(helpers)
    pieces = [] if reason else conversion.pieces()
    if any(piece.hours < _LEAST_HOURS for piece in pieces):
        reason = "cannot be taken: its hours are too few to write down"
    if reason:
        return Problem(parsed.row.file, parsed.row.line, "", "", reason)
    rows = tuple(
        replace(
            conversion.row(piece, len(pieces), is_last=piece is pieces[-1]),
            builders=builders,
            helpers=helpers,
        )
        for piece in pieces
    )
    remarks = [*parsed.remarks, *(["stand-in"] if replaced else []), *conversion.remarks]
    remarks += ["rework"] if parsed.rework is None and any(r.rework for r in rows) else []
    return ConvertedRow(parsed=parsed, rows=rows, remarks=tuple(remarks))


def _everybody(parsed: ParsedRow) -> People:
    """The people of the row and its helpers; a row with helpers only has the builder as well."""
    helpers = parsed.helpers
    if not helpers.names and not helpers.unnamed:
        return parsed.people
    base = parsed.people if parsed.people.names or parsed.people.unnamed else People(names=(SELF,))
    names = tuple(dict.fromkeys([*base.names, *helpers.names]))
    return People(names=names, unnamed=base.unnamed + helpers.unnamed)


@dataclass(kw_only=True)
class _Conversion:
    """The conversion of one row; `people` counts builders and helpers."""

    parsed: ParsedRow
    rules: ConversionRules
    people: int
    remarks: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.task = self._task()
        # Clock hours of each part: person-hours are divided by the people.
        self.shares = [p.hours / (self.people if p.unit == "person_hours" else 1) for p in self.parsed.parts]

    def _task(self) -> Task | None:
        """The task of the plan that the row names, by id or by title."""
        texts = (self.parsed.task,) if self.rules.own_log else (self.parsed.task, self.parsed.words)
        named = (self.rules.by_task.get(one_line(text).casefold()) for text in texts if text)
        return next((task for task in named if task is not None), None)

    def too_large(self, helpers: int) -> str:
        """Why the row has more people or hours than a row of the log may have, or ""."""
        if helpers > MOST_HELPERS:
            return f"cannot be taken: {self.people} people are too many for one row"
        clock, days = sum(self.shares), self.parsed.days.count
        if clock > 24 * days:
            return f"cannot be taken: {clock:g} hours per person are too many for {days} day(s)"
        return ""

    def pieces(self) -> list[_Piece]:
        """The row as a whole, by its amounts of hours, or in equal shares."""
        parsed, rules = self.parsed, self.rules
        labels = stage_labels(parsed, {t.stage for t in rules.by_task.values()})
        if len(labels) > 1 and self.task is None:
            self.remarks.append("several labels")
        words = task_text(parsed, rules.by_task)
        tasks = split_tasks(words)
        stages = [rules.stages(label) for label in labels]
        stage = stages[0] if stages else ""
        kind = "" if rules.own_log or self.task is not None else self._kind_not_building(words)
        if len(self.shares) > 1:
            return [
                _Piece(hours=h, words=words, stage=stage, set_aside=kind or clause_not_building(p.what))
                for h, p in zip(self.shares, parsed.parts, strict=True)
            ]
        if len(tasks) > 1 and not rules.own_log:
            self.remarks.append("several tasks")
        if rules.several == "split" and self.task is None and not rules.own_log:
            return _equal_shares(self.shares[0], words, tasks, stages)
        return [_Piece(hours=self.shares[0], words=words, stage=stage, set_aside=kind)]

    def _kind_not_building(self, words: str) -> str:
        labels = (self.parsed.type, self.parsed.stage)
        return next(filter(None, (not_building(words), *map(clause_not_building, labels))), "")

    def row(self, piece: _Piece, pieces: int, *, is_last: bool) -> SessionRow:
        """The row of the log for one of the pieces, without its people."""
        parsed, rules, is_whole = self.parsed, self.rules, pieces == 1
        # An exported log names the task of every row that has one: the rest is outside the plan.
        outside = bool(piece.set_aside) or (rules.own_log and bool(rules.by_task))
        of_stage = None if outside or self.task is not None else rules.of_stage.get(piece.stage)
        task = self.task or of_stage
        kind = rules.kinds(parsed.type) if parsed.type else rules.types.get(one_line(piece.words), GENERAL)
        rework = bool(parsed.rework)
        if parsed.rework is None and not rules.own_log:
            rework = is_rework("; ".join((piece.words, *parsed.notes)))
        quantity, percent = (parsed.quantity, parsed.percent) if is_whole else (None, None)
        done = bool(parsed.done) and is_last
        progress: list[str] = []
        if self.task is None and not rules.own_log:
            # Progress on a task of the sheet is no progress on a whole stage, nor on work outside the plan.
            progress = _progress_words(quantity if of_stage else None, percent, done)
            quantity, percent, done = None if of_stage else quantity, None, False
        return SessionRow(
            date=parsed.days.start,
            until=parsed.days.end,
            start=parsed.start,
            hours=round(piece.hours, 4),
            builders=(),
            task=task.task if task else "",
            stage="" if task else piece.stage,
            type="" if task or piece.set_aside or kind == GENERAL else kind,
            quantity=quantity,
            percent=percent,
            done=done,
            rework=rework,
            note=self._note(piece, progress, is_whole=is_whole),
            set_aside=piece.set_aside,
        )

    def _note(self, piece: _Piece, progress: Sequence[str], *, is_whole: bool) -> str:
        """Every word of the row that has no column of its own."""
        parsed, task = self.parsed, self.task
        texts = parsed.texts if is_whole or not parsed.texts else (piece.words,)
        unknown = parsed.task if task is None and is_whole else ""
        has_stage_words = len(split_labels(parsed.stage)) > 1 or (task and parsed.stage != task.stage)
        stage = f"stage: {parsed.stage}" if parsed.stage and has_stage_words else ""
        kind = f"type: {parsed.type}" if task and parsed.type else ""
        words = [unknown, *texts, *parsed.notes, stage, kind, *progress, *parsed.left]
        return _BETWEEN.join(dict.fromkeys(filter(None, words)))


def _equal_shares(hours: float, words: str, tasks: Sequence[str], stages: Sequence[str]) -> list[_Piece]:
    """As many equal shares as the row has tasks, or else labels; the n-th task goes to the n-th label."""
    count = max(len(tasks) if len(tasks) > 1 else 1, len(stages), 1)
    texts = list(tasks) if len(tasks) == count and count > 1 else [words] * count
    stage_of = list(stages) if len(stages) == count else [stages[0] if stages else ""] * count
    return [
        _Piece(hours=hours / count, words=text, stage=stage, set_aside=not_building(text))
        for text, stage in zip(texts, stage_of, strict=True)
    ]


def _progress_words(quantity: float | None, percent: float | None, done: bool) -> list[str]:
    words = [f"{quantity:g} pieces"] if quantity is not None else []
    words += [f"{percent:g} %"] if percent is not None else []
    return words + (["done"] if done else [])


def without_repeated_done(converted: Sequence[ConvertedRow], log: Counter[Content]) -> list[ConvertedRow]:
    """Move `done` to the note where an earlier row has finished the task with no session in between.

    The log may finish a task only once.

    Parameters
    ----------
    converted : the rows of the sheet
    log : rows of the log in the folder -> how often they occur
    """
    places = [(i, k) for i, c in enumerate(converted) for k, r in enumerate(c.rows) if r.task]
    # Of rows that are equal up to here, those of the log come first.
    events: list[tuple[tuple[object, ...], bool, bool, tuple[int, int] | None]] = []
    for i, k in places:
        r = converted[i].rows[k]
        order: tuple[object, ...] = (r.task, r.until, r.done, r.start, 1, converted[i].line, k)
        events.append((order, r.done, r.rework, (i, k)))
    tasks = {converted[i].rows[k].task for i, k in places}
    for _, until, start, _, _, task, *_, done, rework, _ in log.elements():
        if task in tasks:
            events.append(((task, until, done, start, 0, 0, 0), bool(done), bool(rework), None))
    events.sort(key=lambda event: event[0])
    repeated: set[tuple[int, int]] = set()
    finished, task_before = False, None
    for order, done, rework, place in events:
        if place is not None and done and not rework and finished and order[0] == task_before:
            repeated.add(place)
        finished, task_before = done, order[0]
    return [_not_done(c, {k for i, k in repeated if i == number}) for number, c in enumerate(converted)]


def _not_done(converted: ConvertedRow, places: set[int]) -> ConvertedRow:
    if not places:
        return converted
    rows = tuple(
        replace(r, done=False, note=_BETWEEN.join(filter(None, (r.note, "done")))) if k in places else r
        for k, r in enumerate(converted.rows)
    )
    return replace(converted, rows=rows, remarks=(*converted.remarks, "done twice"))


def _with_stage(converted: Iterable[ConvertedRow]) -> Iterator[tuple[ConvertedRow, SessionRow]]:
    """The rows of the log that are work on a stage, each with the row that it comes from."""
    return ((c, r) for c in converted for r in c.rows if r.stage and not r.set_aside)


def main_kinds(converted: Iterable[ConvertedRow]) -> dict[str, str]:
    """Stage -> the type with more than half of its person-hours, if three rows or more have this type."""
    hours: dict[str, dict[str, list[float]]] = {}
    for _, r in _with_stage(converted):
        hours.setdefault(r.stage, {}).setdefault(r.type or GENERAL, []).append(r.hours * r.people)
    main = {}
    for stage, of_stage in hours.items():
        kind = max(of_stage, key=lambda k: (sum(of_stage[k]), k))
        most = sum(of_stage[kind]) > 0.5 * sum(map(sum, of_stage.values()))
        if kind != GENERAL and most and len(of_stage[kind]) >= _LEAST_ROWS_OF_A_KIND:
            main[stage] = kind
    return main


def stages_in_order(converted: Iterable[ConvertedRow]) -> list[str]:
    """The stages that were worked on, by their first day."""
    first: dict[str, tuple[object, ...]] = {}
    for c, r in _with_stage(converted):
        day = (r.date, c.line)
        first[r.stage] = min(first.get(r.stage, day), day)
    return sorted(first, key=lambda stage: first[stage])
