"""The tables of the studies that the method pages quote, as frames."""

from __future__ import annotations

import re

import pandas as pd

from forecast.files.reference_tables import method_page

_QUOTED = re.compile(r"<!-- quoted: benchmarks/(?:\w+/)*(\w+)\.md .*?-->\n(.*?)<!-- end -->\n?", re.DOTALL)
_SHARES = {"0.25": "a quarter", "0.5": "half", "0.75": "three quarters"}
_TARGETS = {
    "open stage": "the finish of an open stage",
    "build": "the finish of the whole build",
    "next 13 weeks": "the hours of the next 13 weeks",
    "next 20 tasks": "the hours of the next 20 tasks",
}


def study_tables(reader: str) -> dict[str, pd.DataFrame]:
    """The tables of a method page by the name of their study, every cell a text.

    Parameters
    ----------
    reader : whom the page is written for, one of `METHOD_READERS`

    Examples
    --------
    >>> study_tables("builders")["finish"].columns.to_list()
    ['target', 'at', '80 %']
    """
    return {study: _frame(table) for study, table in _QUOTED.findall(method_page(reader))}


def method_text(reader: str) -> str:
    """A method page without its tables."""
    return _QUOTED.sub("", method_page(reader))


def _frame(table: str) -> pd.DataFrame:
    rows = [[cell.strip() for cell in line.strip().strip("|").split("|")] for line in table.splitlines()]
    return pd.DataFrame(rows[2:], columns=rows[0])


def range_coverage() -> pd.DataFrame:
    """How often the 80 % range contained the outcome, by target and by the share of the hours done."""
    study = study_tables("builders")["finish"]
    return pd.DataFrame(
        {
            "Hours done by then": [_SHARES.get(at, at) for at in study["at"]],
            "Forecast of": [_TARGETS.get(target, target) for target in study["target"]],
            "Within the 80 % range": [_in_a_hundred(share) for share in study["80 %"]],
        }
    )


def chance_calibration() -> pd.DataFrame:
    """How often a task was finished in the session, by the chance that was forecast."""
    study = study_tables("builders")["tonight"]
    return pd.DataFrame(
        {
            "Chance forecast": [given.replace("%", " %") for given in study["given"]],
            "Tasks": study["tasks"],
            "Finished": [_in_a_hundred(share) for share in study["finished"]],
        }
    )


def coverage_sentence() -> str:
    """The lowest and the highest coverage of the 80 % ranges."""
    shares = study_tables("builders")["finish"]["80 %"].astype(float)
    low, high = round(100 * shares.min()), round(100 * shares.max())
    return f"The 80 % ranges contained the outcome in {low} to {high} of 100 cases."


def _in_a_hundred(share: str) -> str:
    return f"{100 * float(share):.0f} in 100"
