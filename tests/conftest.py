"""A kit that fits in the hand: five tasks, two builders, one week."""

import pandas as pd
import pytest

from forecast.files.plan import Plan, Task
from forecast.learn.bench_time import priors


def sessions_frame(rows: list[dict]) -> pd.DataFrame:
    """The sessions frame from a few keywords a row; what is not said is blank."""
    blank = {
        "start": "", "builders": "A", "helpers": 0, "task": "", "stage": "other", "type": "general",
        "quantity": float("nan"), "percent": float("nan"), "done": False, "rework": False, "note": "",
        "file": "log.csv",
    }  # fmt: skip
    full = []
    for line, row in enumerate(rows, start=2):
        filled = {**blank, "line": line, **row}
        filled.setdefault("until", filled["date"])
        filled["people"] = len(str(filled["builders"]).split("+")) + int(filled["helpers"])
        filled["person_hours"] = float(filled["hours"]) * filled["people"]
        full.append(filled)
    order = [
        "date", "until", "start", "hours", "builders", "helpers", "people", "person_hours", "task",
        "stage", "type", "quantity", "percent", "done", "rework", "note", "file", "line",
    ]  # fmt: skip
    frame = pd.DataFrame(full, columns=order)
    text = ["start", "builders", "task", "stage", "type", "note", "file"]
    floats = ["hours", "person_hours", "quantity", "percent"]
    kinds = dict.fromkeys(text, "str") | dict.fromkeys(floats, "float64")
    kinds |= {"helpers": "int64", "people": "int64", "line": "int64", "done": "bool", "rework": "bool"}
    for day in ("date", "until"):
        frame[day] = pd.to_datetime(frame[day]).astype("datetime64[us]")
    return frame.astype(kinds).sort_values(["date", "until", "file", "line"]).reset_index(drop=True)


@pytest.fixture
def five_tasks() -> Plan:
    """Ribs drilled left and right, riveted by two, primed with a hold, then closed."""
    return Plan(
        tasks=(
            Task(task="D1", stage="tail", title="Drill left ribs", type="drill", quantity=6, planned_hours=3),
            Task(
                task="D2", stage="tail", title="Drill right ribs", type="drill", quantity=6,
                planned_hours=3, repeat_of="D1",
            ),
            Task(task="P1", stage="tail", title="Prime ribs", type="prime", planned_hours=2,
                 after=("D1", "D2"), hold_days=2),
            Task(task="R1", stage="tail", title="Rivet ribs", type="rivet", quantity=120,
                 planned_hours=8, after=("P1",), crew="two"),
            Task(task="W1", stage="wing", title="Fit spar", type="fit", after=("R1",)),
        )
    )  # fmt: skip


@pytest.fixture
def unchanging(monkeypatch):
    """A life in which nothing changes: no later change of the hours, no long silences."""
    for name in ("LATER_CHANGE_MEAN", "LATER_CHANGE_SD", "LONG_SILENCES_PER_YEAR"):
        monkeypatch.setattr(priors, name, 0.0)
