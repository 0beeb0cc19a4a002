"""An intake and what came of it, in plain lines for the command line."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from forecast.errors import Problem
from forecast.intake.builder_answers import MEANINGS
from forecast.intake.conversion import ConvertedRow
from forecast.intake.proposal import Intake
from forecast.intake.write_to_folder import Taken

_NOTE_LETTERS = 60


def intake_lines(intake: Intake) -> Iterator[str]:
    """What a take would do: columns, first rows, doubts, rows left out, questions, the sum of it all."""
    yield f"{intake.file}{_sheets(intake)}: {_count(intake.rows_in, 'row')}."
    yield ""
    yield "Columns:"
    for c in intake.columns:
        yield f"  {c.heading} -> {c.meaning} ({MEANINGS[c.meaning]}): {c.reason}"
    if intake.preview:
        yield ""
        yield "The first rows as they are read:"
        for joined in intake.preview:
            yield from _row_lines(joined)
    yield from _listed("What is not sure:", intake.doubts)
    if intake.accuracy is not None and intake.types:
        counts = ", ".join(f"{kind} {rows}" for kind, rows in intake.types.items())
        yield from _listed(
            "Task types from the words (--answer type:TEXT=TYPE corrects one):",
            [
                f"{counts}.",
                f"On texts that they were not learned from, {intake.accuracy};",
                "those texts are ours, as the vocabulary is: expect less on your own.",
            ],
        )
    yield from _listed("Changed in the sheet since an earlier take (kept here as it was):", intake.changed)
    yield from _listed("Not taken, each for its reason:", map(problem_line, intake.reported))
    yield from _listed("Questions:", intake.questions)
    yield ""
    yield _sum(intake)


def taken_lines(taken: Taken) -> Iterator[str]:
    """What a take has done."""
    yield f"{taken.folder}: {_count(taken.added, 'row')} added to the log."
    if taken.apart:
        yield f"{_count(taken.apart, 'row')} not building added to not_building.csv."
    if taken.stages:
        yield f"A coarse plan was written, one row a stage: {', '.join(taken.stages)}."
        yield "Put the hours that you expect of each into plan.csv (planned_hours)."
    if taken.builders:
        yield f"Builders written to build.toml: {', '.join(taken.builders)}."
    if taken.already:
        yield f"{_count(taken.already, 'row')} were there already."
    if taken.changed:
        yield f"{_count(len(taken.changed), 'row')} changed in the sheet since, left as they were here:"
        yield from (f"  {change}" for change in taken.changed)
    if taken.gone:
        yield f"{_count(taken.gone, 'row')} taken earlier are no longer in the sheet, and are kept here."
    if taken.reported:
        yield f"{_count(len(taken.reported), 'row')} not taken:"
        yield from (f"  {problem_line(p)}" for p in taken.reported)


def problem_line(problem: Problem) -> str:
    """One row that is not taken, on one line.

    Examples
    --------
    >>> problem_line(Problem("hours.csv", 7, "Hours", "many\\nhours", "is not a number of hours"))
    "hours.csv, line 7, Hours: 'many hours' is not a number of hours."
    """
    value = " ".join(problem.value.split())
    return str(Problem(problem.file, problem.line, problem.column, value, problem.allowed))


def _sheets(intake: Intake) -> str:
    return f" (sheet {', '.join(intake.sheets)})" if intake.sheets else ""


def _row_lines(joined: ConvertedRow) -> Iterator[str]:
    for row in joined.rows:
        cells = row.cells
        note = " ".join(cells.pop("note").split())
        short = note if len(note) <= _NOTE_LETTERS else note[: _NOTE_LETTERS - 3] + "..."
        words = [f"{column} {text}" for column, text in cells.items() if text]
        words += [f"note {short!r}"] if short else []
        where = f" -> not_building.csv ({row.apart})" if row.apart else ""
        yield f"  line {joined.raw.row.line}: {', '.join(words)}{where}"


def _listed(title: str, lines: Iterable[object]) -> Iterator[str]:
    found = list(lines)
    if found:
        yield ""
        yield title
        yield from (f"  {line}" for line in found)


def _sum(intake: Intake) -> str:
    new = sum(not all(r.apart for r in j.rows) for j in intake.new)
    parts = [f"{new} to add to the log", f"{len(intake.new) - new} not building, to be kept apart"]
    parts += [f"{len(intake.since.already)} there already"] if intake.since.already else []
    parts += [f"{len(intake.changed)} changed behind an earlier take"] if intake.changed else []
    parts.append(f"{len(intake.reported)} not taken")
    return f"{_count(intake.rows_in, 'row')}: {', '.join(parts)}."


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}{'' if n == 1 else 's'}"
