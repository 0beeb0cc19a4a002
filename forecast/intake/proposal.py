"""The proposal of a take: every row of a foreign file read, kept apart or named; nothing is written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from forecast.errors import Problem
from forecast.files.plan import Plan
from forecast.files.tables import table_schema
from forecast.intake.builder_answers import BuilderAnswers
from forecast.intake.cells.date_forms import OrderEvidence, find_order
from forecast.intake.cells.dates import DateRules, is_day_number
from forecast.intake.cells.labels import LabelGroup, merge_labels
from forecast.intake.cells.people import People, SheetCrew, identify_crew
from forecast.intake.cells.phrases import split_tasks
from forecast.intake.cells.task_types import (
    GENERAL,
    TypeAccuracy,
    corrections_in,
    fitted_types,
    held_out_accuracy,
)
from forecast.intake.changes_since_last_take import ChangedRow, ChangesSinceLastTake, compare
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

PREVIEW_ROWS = 8


@dataclass(frozen=True, kw_only=True)
class Intake:
    """What a take would do; nothing has been written.

    Every record of the file that holds anything is a row of headings, in `rows`, or in `reported`.

    Attributes
    ----------
    file, sheets : what was read
    destination : the folder as it was found
    columns : what each column is taken for, with the reason
    answers : what the builder said, now and at earlier takes
    rows : the rows that were read, each with its log rows (one `ConvertedRow` a row of the sheet)
    reported : one problem for each row that cannot be taken
    heading_rows : rows that hold the headings
    doubts : sentences about what was read in a way that could be wrong
    questions : what the builder is asked, and how to answer
    crew : builders and helpers
    stage_groups : labels that are proposed as one
    plan : a coarse plan to be written, or None
    types : rows outside the plan by the type that their words suggest
    accuracy : of the task types on texts that the training did not see
    since : what is new, what is there already, what was changed behind an earlier take
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
    stage_groups: tuple[LabelGroup, ...]
    plan: Plan | None
    types: Mapping[str, int]
    accuracy: TypeAccuracy | None
    since: ChangesSinceLastTake
    before: SavedSheet | None
    marks: tuple[Fingerprint, ...]

    @property
    def rows_in(self) -> int:
        """Records of the file that hold anything, headings apart."""
        return len(self.rows) + len(self.reported)

    @property
    def kept(self) -> tuple[ConvertedRow, ...]:
        """Rows that build, in whole or in part."""
        return tuple(j for j in self.rows if not all(r.apart for r in j.rows))

    @property
    def apart(self) -> tuple[ConvertedRow, ...]:
        """Rows that are not building; they go to not_building.csv."""
        return tuple(j for j in self.rows if all(r.apart for r in j.rows))

    @property
    def new(self) -> tuple[ConvertedRow, ...]:
        """Rows that are not in the folder yet: what a take would add."""
        return tuple(self.rows[i] for i in self.since.new)

    @property
    def keyed(self) -> tuple[str, ...]:
        """The columns that make a row's key when the sheet is taken for the first time."""
        return _key_columns(self.columns)

    @property
    def changed(self) -> tuple[ChangedRow, ...]:
        """Rows that an earlier take has added and the sheet now has differently."""
        return self.since.changed

    @property
    def preview(self) -> tuple[ConvertedRow, ...]:
        """The first rows as they were read."""
        return self.rows[:PREVIEW_ROWS]


def propose_intake(
    file: Path | str,
    folder: Path | str,
    *,
    today: date,
    mapping: Mapping[str, str] | None = None,
    answers: BuilderAnswers | None = None,
    coarse: bool = True,
) -> Intake:
    """Read a foreign file and propose what to take from it into a build folder, which need not exist.

    Parameters
    ----------
    file : XLSX, ODS, CSV, TSV, Markdown with front matter, or a folder of such Markdown files
    today : no session lies after it
    mapping : heading -> meaning (`answers.MEANINGS`), the builder's own word
    coarse : propose a plan of one row a stage where the folder has none
    answers : further answers (`parse_answers`); what take.toml has from earlier takes counts below them

    Raises
    ------
    InputError when the file or the folder cannot be read as a whole; UsageError when `mapping` or the
    answers name what is not there.
    """
    read = read_foreign(file)
    destination = read_destination(Path(folder))
    said = replace(
        answers or BuilderAnswers(), columns={**(answers.columns if answers else {}), **(mapping or {})}
    )
    return _ProposalBuilder(read=read, destination=destination, today=today, said=said, coarse=coarse).run()


@dataclass(kw_only=True)
class _ProposalBuilder:
    """One pass over a file, in the order in which one thing follows from another."""

    read: ReadFile
    destination: Destination
    today: date
    said: BuilderAnswers
    coarse: bool

    def run(self) -> Intake:
        sheet = self.said.sheet
        gathered = choose_sheets(self.read, sheet=sheet, said=self.said.columns)
        before = self.destination.saved.sheet_for(self.read.name, gathered.headings)
        answers = _over_saved(self.said, before, gathered.headings)
        columns = propose_columns(gathered.as_headed, answers.columns)
        days = _cells_of(gathered.rows, columns, ("date", "until"))
        order = find_order(days, " ".join(c.heading for c in columns if c.meaning == "date"))
        layout = _layout(gathered.rows, columns, answers, order, self.today)
        raws, reported = _read_rows(gathered.rows, layout)
        joining, accuracy = self._joining(raws, gathered.headings, layout, answers)
        joined, plan, late = self._join(raws, joining)
        reported = [*self._outside(gathered), *reported, *late]
        marks = _marks(joined, gathered.headings, columns, before)
        since = compare(
            joined,
            marks,
            before.marks if before else (),
            self.destination.log,
            self.destination.apart,
            again=answers.again,
        )
        found = Evidence(
            rows=gathered.rows,
            columns=columns,
            joined=joined,
            layout=layout,
            joining=joining,
            destination=self.destination,
            order=order,
            plan=plan,
            notices=self.read.notices,
            unread_sheets=gathered.unread,
            lost=[joined[i] for i in since.lost],
        )
        return Intake(
            file=self.read.name,
            sheets=gathered.names,
            destination=self.destination,
            headings=gathered.headings,
            columns=columns,
            answers=replace(answers, columns={c.heading: c.meaning for c in columns}),
            rows=tuple(joined),
            reported=tuple(reported),
            heading_rows=len(gathered.heading_rows),
            doubts=tuple(find_doubts(found)),
            questions=tuple(
                find_questions(
                    reported,
                    columns,
                    answers,
                    order,
                    has_plan=self.destination.plan is not None,
                    rows=len(joined) + len(reported),
                )
            ),
            crew=joining.crew,
            stage_groups=joining.stages.groups,
            plan=plan,
            types=_types_outside(joined, plan),
            accuracy=accuracy,
            since=since,
            before=before,
            marks=tuple(marks),
        )

    def _outside(self, gathered: ChosenSheets) -> list[Problem]:
        """Records that are no rows of the log: above the headings, or not to be opened."""
        above = [
            Problem(row.file, row.line, "", _first_text(row), "stands above the headings")
            for row in gathered.above
        ]
        return above + [Problem(u.file, u.line, "", u.value, u.reason) for u in self.read.unread]

    def _joining(
        self, raws: Sequence[ParsedRow], headings: Sequence[str], layout: Layout, answers: BuilderAnswers
    ) -> tuple[ConversionRules, TypeAccuracy | None]:
        by_task = self.destination.by_task
        known = {t.stage for t in by_task.values()}
        has_type = "type" in layout.of_meaning
        own_log = set(table_schema("log").columns) <= {h.casefold() for h in headings}
        types, accuracy = self._types(raws, answers) if not has_type else ({}, None)
        joining = ConversionRules(
            crew=identify_crew(
                [_people(raw) for raw in raws],
                known=[b.id for b in self.destination.builders],
                said=answers.people,
                never=[n for raw in raws for n in raw.helpers.names],
            ),
            stages=merge_labels(
                [label for raw in raws for label in stage_labels(raw, known)],
                known=known,
                said=answers.stages,
            ),
            kinds=merge_labels([raw.type for raw in raws if raw.type]),
            types=types,
            by_task=by_task,
            of_stage=self.destination.only_task_of_stage,
            several=answers.several or "keep",
            own_log=own_log,
        )
        return joining, accuracy

    def _types(
        self, raws: Sequence[ParsedRow], answers: BuilderAnswers
    ) -> tuple[dict[str, str], TypeAccuracy | None]:
        """The type that each text suggests, learned with everything the builder has said so far."""
        by_task = self.destination.by_task
        texts = {one_line(task_text(raw, by_task)) for raw in raws}
        texts |= {clause for text in texts for clause in split_tasks(text)}
        texts.discard("")
        if not texts:
            return {}, None
        corrections = {
            **self.destination.taught,
            **corrections_in(self.destination.outside),
            **self.destination.saved.types,
            **answers.types,
        }
        types = fitted_types(corrections)
        asked = sorted(texts)
        return dict(zip(asked, types.suggest(asked), strict=True)), held_out_accuracy(types)

    def _join(
        self, raws: Sequence[ParsedRow], joining: ConversionRules
    ) -> tuple[list[ConvertedRow], Plan | None, list[Problem]]:
        """The rows joined; where there is no plan, on the tasks of a coarse one."""
        joined, problems = _join_all(raws, joining)
        plan = None
        stages = stages_in_order(joined)
        if self.coarse and self.destination.plan is None and stages:
            plan = coarse_plan(stages, main_kinds(joined))
            of_stage = {t.stage: t for t in plan.tasks}
            joined, problems = _join_all(raws, replace(joining, of_stage=of_stage))
        joined, early = _without_early(joined, self.destination)
        return without_repeated_done(joined, self.destination.log), plan, problems + early


def _join_all(
    raws: Sequence[ParsedRow], joining: ConversionRules
) -> tuple[list[ConvertedRow], list[Problem]]:
    found = [convert_row(raw, joining) for raw in raws]
    return [j for j in found if isinstance(j, ConvertedRow)], [p for p in found if isinstance(p, Problem)]


def _without_early(
    joined: Sequence[ConvertedRow], destination: Destination
) -> tuple[list[ConvertedRow], list[Problem]]:
    """Rows that name a builder before the day on which build.toml says they join would not pass `check`."""
    joins = {b.id: b.joins for b in destination.builders if b.joins is not None}
    kept, problems = [], []
    for j in joined:
        early = [b for r in j.rows for b in r.builders if b in joins and r.date < joins[b]]
        if early:
            rule = f"names {early[0]} before {joins[early[0]]}, the day on which build.toml says they join"
            problems.append(Problem(j.raw.row.file, j.raw.row.line, "", "", rule))
        else:
            kept.append(j)
    return kept, problems


def _over_saved(said: BuilderAnswers, before: SavedSheet | None, headings: Sequence[str]) -> BuilderAnswers:
    """The builder's answers over those of an earlier take, for columns that are still there."""
    if before is None:
        return said
    there = {h: m for h, m in before.answers.columns.items() if h in headings}
    return said.over(replace(before.answers, columns=there))


def _layout(
    rows: Sequence[SheetRow],
    columns: Sequence[SheetColumn],
    answers: BuilderAnswers,
    order: OrderEvidence,
    today: date,
) -> Layout:
    days = [c for c in _cells_of(rows, columns, ("date",)) if cell_text(c)]
    numbers = sum(is_day_number(c) for c in days)
    shares = [c for c in _cells_of(rows, columns, ("percent",)) if isinstance(c, float)]
    rules = DateRules(
        today=today,
        order=answers.order or order.order,
        first_year=answers.first_year,
        day_numbers=numbers > 0.5 * len(days),
        said=dict(answers.days),
    )
    return Layout(
        columns=tuple(columns),
        rules=rules,
        blank_day_above=answers.blank_day_above,
        point_before_minutes=answers.point_before_minutes,
        percent_is_share=bool(shares) and max(shares) <= 1 and any(s % 1 for s in shares),
    )


def _read_rows(rows: Sequence[SheetRow], layout: Layout) -> tuple[list[ParsedRow], list[Problem]]:
    """Every row, in the order of the file: what a day means may hang on the day above it."""
    raws: list[ParsedRow] = []
    problems: list[Problem] = []
    known: date | None = None
    above: date | None = None
    for row in rows:
        day = read_day(row, layout, known=known, above=above)
        above = None if isinstance(day, Problem) else day.end
        known = above or known
        found = day if isinstance(day, Problem) else read_row(row, layout, day)
        if isinstance(found, Problem):
            problems.append(found)
        else:
            raws.append(found)
    return raws, problems


def _marks(
    joined: Sequence[ConvertedRow],
    headings: Sequence[str],
    columns: Sequence[SheetColumn],
    before: SavedSheet | None,
) -> list[Fingerprint]:
    """What would be remembered of each row; the columns that make its key stay those of the first take."""
    names = before.keyed if before else _key_columns(columns)
    keyed = {h: headings.index(h) for h in names}
    return [
        fingerprint_row(j.raw.row, keyed, j.raw.day.start, sum(p.hours for p in j.raw.parts), j.raw.words)
        for j in joined
    ]


def _types_outside(joined: Sequence[ConvertedRow], plan: Plan | None) -> dict[str, int]:
    """How often each type is written: on rows outside the plan, and on the stages of a coarse one."""
    rows = [r.type or GENERAL for j in joined for r in j.rows if not r.apart and not r.task]
    rows += [t.type for t in plan.tasks] if plan else []
    return dict(Counter(rows).most_common())


def _key_columns(columns: Sequence[SheetColumn]) -> tuple[str, ...]:
    return tuple(c.heading for c in columns if c.meaning != "ignore")


def _cells_of(
    rows: Sequence[SheetRow], columns: Sequence[SheetColumn], meanings: Sequence[str]
) -> list[Cell]:
    places = [c.position for c in columns if c.meaning in meanings]
    return [row.cells[i] for row in rows for i in places if i < len(row.cells)]


def _people(raw: ParsedRow) -> People:
    return People(names=(*raw.people.names, *raw.helpers.names))


def _first_text(row: SheetRow) -> str:
    return next((cell_text(c) for c in row.cells if cell_text(c)), "")
