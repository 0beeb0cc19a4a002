"""How well the program did in its studies: the tables that the method pages quote, as frames."""

from __future__ import annotations

import re

import pandas as pd

from forecast.files.reference_tables import method_page

_QUOTED = re.compile(r"<!-- quoted: benchmarks/skill/(\w+)\.md .*?-->\n(.*?)<!-- end -->\n?", re.DOTALL)
_POINTS = {"0.25": "a quarter", "0.5": "half", "0.75": "three quarters"}
_TARGETS = {
    "open stage": "the finish of an open stage",
    "build": "the finish of the whole build",
    "next 13 weeks": "the hours of the next 13 weeks",
    "next 20 tasks": "the hours of the next 20 tasks",
}


def measured(reader: str) -> dict[str, pd.DataFrame]:
    """The tables of a method page by the name of their study, every cell a text.

    >>> measured("builders")["finish"].columns.to_list()
    ['target', 'at', '80 %']
    """
    return {study: _frame(table) for study, table in _QUOTED.findall(method_page(reader))}


def words_of(reader: str) -> str:
    """A method page without its tables."""
    return _QUOTED.sub("", method_page(reader))


def _frame(table: str) -> pd.DataFrame:
    rows = [[cell.strip() for cell in line.strip().strip("|").split("|")] for line in table.splitlines()]
    return pd.DataFrame(rows[2:], columns=rows[0])


def finish_ranges_held() -> pd.DataFrame:
    """How often the 80 % range of a finish or of hours held what came, by how much of the hours was done."""
    found = measured("builders")["finish"]
    return pd.DataFrame(
        {
            "Hours done then": [_POINTS.get(at, at) for at in found["at"]],
            "Of": [_TARGETS.get(t, t) for t in found["target"]],
            "The 80 % range held": [_in_a_hundred(share) for share in found["80 %"]],
        }
    )


def chances_held() -> pd.DataFrame:
    """How often a task was finished tonight, by the chance that was given."""
    found = measured("builders")["tonight"]
    return pd.DataFrame(
        {
            "Chance given": [given.replace("%", " %") for given in found["given"]],
            "Tasks": found["tasks"],
            "Finished": [_in_a_hundred(share) for share in found["finished"]],
        }
    )


def held_sentence() -> str:
    """The span of how often the 80 % ranges held."""
    shares = measured("builders")["finish"]["80 %"].astype(float)
    low, high = round(100 * shares.min()), round(100 * shares.max())
    return f"Ranges meant to hold 80 times in 100 held {low} to {high} times."


def _in_a_hundred(share: str) -> str:
    return f"{100 * float(share):.0f} in 100"
