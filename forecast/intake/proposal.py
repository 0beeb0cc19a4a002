"""Propose a take: every row of a foreign file read, set aside or reported; nothing is written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from forecast.errors import Problem
from forecast.files.plan import Plan
from forecast.files.tables import table_schema
from forecast.intake.builder_answers import BuilderAnswers
from forecast.intake.cells.date_forms import find_order
from forecast.intake.cells.dates import DateRules, is_day_number
from forecast.intake.cells.labels import merge_labels
from forecast.intake.cells.people import People, SheetCrew, identify_crew
from forecast.intake.cells.phrases import split_tasks
from forecast.intake.cells.task_types import (
    GENERAL,
    TypeAccuracy,
    corrections_in,
    fitted_types,
    held_out_accuracy,
)
from forecast.intake.changes_since_last_take import ChangesSinceLastTake, compare
from forecast.intake.coarse_plan import coarse_plan
from forecast.intake.columns import SheetColumn, propose_columns
from forecast.intake.conversion import (
    ConversionRules,
    ConvertedRow,
    convert_row,
    main_kinds,
    stage_labels,
    stages_in_order,
    task_text,
    without_repeated_done,
)
from forecast.intake.destination import Destination, read_destination
from forecast.intake.doubts import Evidence, Question, find_doubts, find_questions
from forecast.intake.parsed_rows import Layout, ParsedRow, read_day, read_row
from forecast.intake.readers.foreign import read_foreign
from forecast.intake.saved_reading import Fingerprint, SavedSheet, fingerprint_row
from forecast.intake.sheet_cells import Cell, ReadFile, SheetRow, cell_text, one_line
from forecast.intake.sheet_choice import ChosenSheets, choose_sheets


@dataclass(frozen=True, kw_only=True)
class Intake:
    """What a take would do; nothing has been written.

    Every record of the file that is not blank is a row of headings, in `rows`, or in `reported`.

    Attributes
    ----------
    file, sheets : names of the file and of the sheets that were read
    destination : the folder as it was found
    headings, columns : the headings, and the meaning of each column with the reason
    answers : the builder's answers, now and at earlier takes
    rows : the rows that were read, one `ConvertedRow` per row of the sheet
    reported : one problem for each row that cannot be taken in
    heading_rows : number of rows of headings
    doubts : sentences about what could be read in another way
    questions : questions to the builder, and how to answer them
    crew : builders and helpers
    plan : the coarse plan to be written, or None
    types : task type -> number of rows outside the plan and of coarse tasks that get it from their words
    accuracy : accuracy of the task types on texts that were not used for training; None where not used
    changes : the rows by what the folder knows of them
    keyed, fingerprints : the columns in the key of a row, and what take.toml would store of each row
    """

    file: str
    sheets: tuple[str, ...]
    destination: Destination
    headings: tuple[str, ...]
    columns: tuple[SheetColumn, ...]
    answers: BuilderAnswers
    rows: tuple[ConvertedRow, ...]
    reported: tuple[Problem, ...]
    heading_rows: int
    doubts: tuple[str, ...]
    questions: tuple[Question, ...]
    crew: SheetCrew
    plan: Plan | None
    types: Mapping[str, int]
    accuracy: TypeAccuracy | None
    changes: ChangesSinceLastTake
    keyed: tuple[str, ...]
    fingerprints: tuple[Fingerprint, ...]

    @property
    def rows_in(self) -> int:
        """Number of records that are not blank and not headings."""
        return len(self.rows) + len(self.reported)

    @property
    def new(self) -> tuple[ConvertedRow, ...]:
        """The rows that the folder does not have yet and that a take would add."""
        return tuple(self.rows[i] for i in self.changes.new)


def propose_intake(
    file: Path | str,
    folder: Path | str,
    *,
    today: date,
    mapping: Mapping[str, str] | None = None,
    answers: BuilderAnswers | None = None,
    coarse: bool = True,
) -> Intake:
    """Read a foreign file and propose what to take from it into a build folder.

    Parameters
    ----------
    file : XLSX, ODS, CSV, TSV, Markdown with front matter, or a folder of such Markdown files
    folder : the build folder, which need not exist
    today : no session lies after it
    mapping : heading -> meaning (a key of `builder_answers.MEANINGS`), as the builder says
    answers : further answers; they take precedence over those of earlier takes in take.toml
    coarse : propose a plan of one task per stage where the folder has none

    Raises
    ------
    InputError : when the file or the folder cannot be read as a whole
    UsageError : when `mapping` or `answers` name a column or a sheet that does not exist
    """
    read = read_foreign(file)
    destination = read_destination(Path(folder))
    own = answers or BuilderAnswers()
    own = replace(own, columns={**own.columns, **(mapping or {})})
    chosen = choose_sheets(read, sheet=own.sheet, answers=own.columns)
    before = destination.saved.sheet_for(read.name, chosen.headings)
    answers = _with_earlier(own, before, chosen.headings)
    columns = propose_columns(chosen.as_headed, answers.columns)
    days = _cells_of(chosen.rows, columns, "date", "until")
    order = find_order(days, " ".join(c.heading for c in columns if c.meaning == "date"))
    date_rules = DateRules(
        today=today,
        order=answers.order or order.order,
        first_year=answers.first_year,
        day_numbers=_are_day_numbers(_cells_of(chosen.rows, columns, "date")),
        answers=answers.days,
    )
    layout = Layout(
        columns=columns,
        date_rules=date_rules,
        blank_day_above=answers.blank_day_above,
        minutes_after_point=answers.minutes_after_point,
        percent_is_share=_are_shares(_cells_of(chosen.rows, columns, "percent")),
    )
    parsed, unreadable = _parse_rows(chosen.rows, layout)
    to_suggest = [] if "type" in layout.of_meaning else parsed
    types, accuracy = _suggest_types(to_suggest, answers, destination)
    rules = _conversion_rules(parsed, chosen.headings, answers, destination, types)
    rows, plan, excluded = _convert_rows(parsed, rules, destination, coarse=coarse)
    keyed = before.keyed if before else tuple(c.heading for c in columns if c.meaning != "ignore")
    fingerprints = _fingerprints(rows, chosen.headings, keyed)
    taken = before.taken if before else ()
    changes = compare(rows, fingerprints, taken, destination.log, destination.set_aside, again=answers.again)
    evidence = Evidence(
        rows=chosen.rows,
        layout=layout,
        reported=[*_other_records(read, chosen), *unreadable, *excluded],
        converted=rows,
        rules=rules,
        destination=destination,
        order=order,
        plan=plan,
        notices=read.notices,
        unread_sheets=chosen.unread,
        lost=[rows[i] for i in changes.lost],
    )
    return Intake(
        file=read.name,
        sheets=chosen.names,
        destination=destination,
        headings=chosen.headings,
        columns=columns,
        answers=replace(answers, columns={c.heading: c.meaning for c in columns}),
        rows=tuple(rows),
        reported=tuple(evidence.reported),
        heading_rows=len(chosen.heading_rows),
        doubts=tuple(find_doubts(evidence)),
        questions=tuple(find_questions(evidence)),
        crew=rules.crew,
        plan=plan,
        types=_count_types(rows, plan),
        accuracy=accuracy,
        changes=changes,
        keyed=keyed,
        fingerprints=tuple(fingerprints),
    )


def _with_earlier(own: BuilderAnswers, before: SavedSheet | None, headings: Sequence[str]) -> BuilderAnswers:
    """The builder's answers, completed by those of an earlier take for columns that still exist."""
    if before is None:
        return own
    columns = {h: m for h, m in before.answers.columns.items() if h in headings}
    return own.over(replace(before.answers, columns=columns))


def _cells_of(rows: Sequence[SheetRow], columns: Sequence[SheetColumn], *meanings: str) -> list[Cell]:
    places = [c.position for c in columns if c.meaning in meanings]
    return [row.cells[i] for row in rows for i in places if i < len(row.cells)]


def _are_day_numbers(days: Sequence[Cell]) -> bool:
    """Whether more than half of the days that are not blank are numbers as spreadsheets count days."""
    return sum(map(is_day_number, days)) > 0.5 * sum(bool(cell_text(c)) for c in days)


def _are_shares(cells: Sequence[Cell]) -> bool:
    """Whether a column of percent holds shares from 0 to 1, some of them fractions."""
    numbers = [c for c in cells if isinstance(c, float)]
    return bool(numbers) and max(numbers) <= 1 and any(number % 1 for number in numbers)


def _parse_rows(rows: Sequence[SheetRow], layout: Layout) -> tuple[list[ParsedRow], list[Problem]]:
    """Parse the rows in the order of the file, because a day may depend on the day above it."""
    parsed: list[ParsedRow] = []
    problems: list[Problem] = []
    known: date | None = None
    above: date | None = None
    for row in rows:
        days = read_day(row, layout, known=known, above=above)
        above = None if isinstance(days, Problem) else days.end
        known = above or known
        found = days if isinstance(days, Problem) else read_row(row, layout, days)
        if isinstance(found, Problem):
            problems.append(found)
        else:
            parsed.append(found)
    return parsed, problems


def _suggest_types(
    rows: Sequence[ParsedRow], answers: BuilderAnswers, destination: Destination
) -> tuple[dict[str, str], TypeAccuracy | None]:
    """Text -> the type that it suggests to a classifier that has learned all corrections so far."""
    texts = {one_line(task_text(row, destination.by_task)) for row in rows}
    texts |= {clause for text in texts for clause in split_tasks(text)}
    ordered = sorted(texts - {""})
    if not ordered:
        return {}, None
    corrections = {
        **destination.types_of_plan,
        **corrections_in(destination.outside_plan),
        **destination.saved.types,
        **answers.types,
    }
    types = fitted_types(corrections)
    return dict(zip(ordered, types.suggest(ordered), strict=True)), held_out_accuracy(types)


def _conversion_rules(
    rows: Sequence[ParsedRow],
    headings: Sequence[str],
    answers: BuilderAnswers,
    destination: Destination,
    types: Mapping[str, str],
) -> ConversionRules:
    """Who the names are, how the labels are spelled, and which tasks the plan has."""
    by_task = destination.by_task
    stages = {t.stage for t in by_task.values()}
    return ConversionRules(
        crew=identify_crew(
            [People(names=(*row.people.names, *row.helpers.names)) for row in rows],
            known=[b.id for b in destination.builders],
            answers=answers.people,
            only_helpers=[name for row in rows for name in row.helpers.names],
        ),
        stages=merge_labels(
            [label for row in rows for label in stage_labels(row, stages)],
            known=stages,
            answers=answers.stages,
        ),
        kinds=merge_labels([row.type for row in rows if row.type]),
        types=types,
        by_task=by_task,
        of_stage=destination.only_task_of_stage,
        several=answers.several or "keep",
        own_log=set(table_schema("log").columns) <= {h.casefold() for h in headings},
    )


def _convert_rows(
    parsed: Sequence[ParsedRow], rules: ConversionRules, destination: Destination, *, coarse: bool
) -> tuple[list[ConvertedRow], Plan | None, list[Problem]]:
    """Convert the rows; where there is no plan, to sessions on the tasks of a coarse one."""
    rows, problems = _convert_all(parsed, rules)
    plan = None
    stages = stages_in_order(rows)
    if coarse and destination.plan is None and stages:
        plan = coarse_plan(stages, main_kinds(rows))
        rows, problems = _convert_all(parsed, replace(rules, of_stage={t.stage: t for t in plan.tasks}))
    rows, early = _without_early(rows, destination)
    return without_repeated_done(rows, destination.log), plan, problems + early


def _convert_all(
    parsed: Sequence[ParsedRow], rules: ConversionRules
) -> tuple[list[ConvertedRow], list[Problem]]:
    found = [convert_row(row, rules) for row in parsed]
    return [c for c in found if isinstance(c, ConvertedRow)], [p for p in found if isinstance(p, Problem)]


def _without_early(
    rows: Sequence[ConvertedRow], destination: Destination
) -> tuple[list[ConvertedRow], list[Problem]]:
    """Exclude rows that name a builder before their first day in build.toml: `check` would reject them."""
    joins = {b.id: b.joins for b in destination.builders if b.joins is not None}
    accepted, problems = [], []
    for row in rows:
        early = [b for r in row.rows for b in r.builders if b in joins and r.date < joins[b]]
        if early:
            rule = f"names {early[0]} before {joins[early[0]]}, when build.toml says they join"
            problems.append(Problem(row.parsed.row.file, row.line, "", "", rule))
        else:
            accepted.append(row)
    return accepted, problems


def _fingerprints(
    rows: Sequence[ConvertedRow], headings: Sequence[str], keyed: Sequence[str]
) -> list[Fingerprint]:
    positions = {heading: headings.index(heading) for heading in keyed}
    parsed = [row.parsed for row in rows]
    return [
        fingerprint_row(p.row, positions, p.days.start, sum(part.hours for part in p.parts), p.words)
        for p in parsed
    ]


def _other_records(read: ReadFile, chosen: ChosenSheets) -> Iterator[Problem]:
    """Records that are not rows of the log: above the headings, or unreadable."""
    for row in chosen.above:
        text = next(filter(None, map(cell_text, row.cells)), "")
        yield Problem(row.file, row.line, "", text, "is above the headings")
    for record in read.unread:
        yield Problem(record.file, record.line, "", record.value, record.reason)


def _count_types(rows: Sequence[ConvertedRow], plan: Plan | None) -> dict[str, int]:
    outside = (r for row in rows for r in row.rows if not r.set_aside and not r.task)
    types = [r.type or GENERAL for r in outside] + [t.type for t in (plan.tasks if plan else ())]
    return dict(Counter(types).most_common())
