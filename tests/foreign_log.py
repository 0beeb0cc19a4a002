"""A short foreign log, and what the tests of `take` do with it over and over."""

import csv
from datetime import date

from forecast.intake import parse_answers, propose_intake, take_in

TODAY = date(2026, 9, 1)
SHEET = """Date,Hours,Section,Work
2026-01-03,2,tail,drilled ribs
2026-01-04,1.5,tail,deburred ribs
2026-01-10,3,wing,riveted skin
"""


def propose(file, folder, *said, **mapping):
    return propose_intake(file, folder, today=TODAY, mapping=mapping, answers=parse_answers(said))


def take(file, folder, *said, **mapping):
    return take_in(propose(file, folder, *said, **mapping))


def log_rows(folder, name="log.csv") -> list[dict[str, str]]:
    with (folder / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def write_folder(folder, plan) -> None:
    folder.mkdir()
    (folder / "build.toml").write_text('name = "t"\n[[builder]]\nid = "A"\n')
    (folder / "plan.csv").write_text(plan)


def reasons(intake) -> dict[int, str]:
    return {p.line: p.allowed for p in intake.reported}
