"""An intake and its result, in plain lines for the command line."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from forecast.errors import Problem
from forecast.intake.builder_answers import MEANINGS
from forecast.intake.conversion import ConvertedRow
from forecast.intake.doubts import count_of
from forecast.intake.proposal import Intake
from forecast.intake.write_to_folder import Taken

_PREVIEW_ROWS = 8  # judgement: enough to see a wrong column at a glance
_NOTE_LETTERS = 60


def intake_lines(intake: Intake) -> Iterator[str]:
    """What a take would do: columns, first rows, doubts, rows left out, questions, and the total."""
    sheets = f" (sheet {', '.join(intake.sheets)})" if intake.sheets else ""
    yield f"{intake.file}{sheets}: {count_of(intake.rows_in, 'row')}."
    yield from _section(
        "Columns:",
        [f"{c.heading} -> {c.meaning} ({MEANINGS[c.meaning]}): {c.reason}" for c in intake.columns],
    )
    preview = intake.rows[:_PREVIEW_ROWS]
    yield from _section("The first rows as they are read:", [x for row in preview for x in _row_lines(row)])
    yield from _section("Uncertain:", intake.doubts)
    if intake.accuracy is not None and intake.types:
        counts = ", ".join(f"{kind} {rows}" for kind, rows in intake.types.items())
        yield from _section(
            "Task types from the words (--answer type:TEXT=TYPE corrects one):",
            [
                f"{counts}.",
                f"On texts that were not used for training, {intake.accuracy};",
                "these texts are ours, as the vocabulary is: expect less on your own.",
            ],
        )
    changed = "Changed in the sheet since an earlier take (the folder keeps its own version):"
    yield from _section(changed, intake.changes.changed)
    yield from _section("Not taken in, with the reason:", map(problem_line, intake.reported))
    yield from _section("Questions:", intake.questions)
    yield ""
    yield _total(intake)


def taken_lines(taken: Taken) -> Iterator[str]:
    """What a take has done."""
    yield f"{taken.folder}: {count_of(taken.added, 'row')} added to the log."
    if taken.set_aside:
        yield f"{count_of(taken.set_aside, 'row')} not building added to not_building.csv."
    if taken.stages:
        yield f"A coarse plan was written, one row per stage: {', '.join(taken.stages)}."
        yield "Enter the hours that you expect for each in plan.csv (planned_hours)."
    if taken.builders:
        yield f"Builders added to build.toml: {', '.join(taken.builders)}."
    if taken.already:
        yield f"{count_of(taken.already, 'row')} already in the folder."
    if taken.changed:
        yield f"{count_of(len(taken.changed), 'row')} changed in the sheet since, unchanged in the folder:"
        yield from (f"  {change}" for change in taken.changed)
    if taken.gone:
        yield f"{count_of(taken.gone, 'row')} taken in earlier and gone from the sheet, kept in the folder."
    if taken.reported:
        yield f"{count_of(len(taken.reported), 'row')} not taken in:"
        yield from (f"  {problem_line(p)}" for p in taken.reported)


def problem_line(problem: Problem) -> str:
    """The problem of one row, on one line.

    Examples
    --------
    >>> problem_line(Problem("hours.csv", 7, "Hours", "many\\nhours", "is not a number of hours"))
    "hours.csv, line 7, Hours: 'many hours' is not a number of hours."
    """
    value = " ".join(problem.value.split())
    return str(Problem(problem.file, problem.line, problem.column, value, problem.allowed))


def _row_lines(converted: ConvertedRow) -> Iterator[str]:
    for row in converted.rows:
        cells = row.cells
        note = " ".join(cells.pop("note").split())
        short = note if len(note) <= _NOTE_LETTERS else note[: _NOTE_LETTERS - 3] + "..."
        words = [f"{column} {text}" for column, text in cells.items() if text]
        words += [f"note {short!r}"] if short else []
        file = f" -> not_building.csv ({row.set_aside})" if row.set_aside else ""
        yield f"line {converted.line}: {', '.join(words)}{file}"


def _section(title: str, lines: Iterable[object]) -> Iterator[str]:
    """A title and indented lines below a blank line; nothing where there are no lines."""
    found = list(lines)
    if found:
        yield ""
        yield title
        yield from (f"  {line}" for line in found)


def _total(intake: Intake) -> str:
    building = sum(not row.is_set_aside for row in intake.new)
    parts = [f"{building} to add to the log", f"{len(intake.new) - building} not building, to set aside"]
    parts += [f"{len(intake.changes.already)} already there"] if intake.changes.already else []
    parts += [f"{len(intake.changes.changed)} changed since"] if intake.changes.changed else []
    parts.append(f"{len(intake.reported)} not taken in")
    return f"{count_of(intake.rows_in, 'row')}: {', '.join(parts)}."
