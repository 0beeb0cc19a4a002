"""An invented kit small enough to fit at once and large enough to fill every page."""

import csv
from datetime import date, timedelta
from pathlib import Path

import numpy as np

AS_OF = date(2026, 6, 30)
STAGES = {"tail": ("deburr", "prime", "rivet"), "wings": ("deburr", "rivet", "fit"), "hull": ("fit", "wire")}
HOURS = {"deburr": 4.0, "prime": 2.0, "rivet": 6.0, "fit": 9.0, "wire": 5.0}


def write_kit(folder: Path, *, sessions: int = 90) -> Path:
    """Write plan, log, deliveries and settings of a kit of 36 tasks, the tail finished."""
    folder.mkdir(parents=True, exist_ok=True)
    tasks = _tasks()
    _write(folder / "plan.csv", tasks)
    _write(folder / "log.csv", _log(tasks, sessions))
    _write(folder / "deliveries.csv", [_delivery()])
    _write(folder / "away.csv", [{"builder": "A", "from": "2026-08-01", "to": "2026-08-16", "reason": "sea"}])
    (folder / "build.toml").write_text(
        'name = "Stint two-seater"\ncountry = "GB"\n[[builder]]\nid = "A"\n[[builder]]\nid = "B"\n'
        "joins = 2026-05-02\nweekly_hours = 3\n",
        encoding="utf-8",
    )
    return folder


def _tasks() -> list[dict[str, str]]:
    tasks = []
    for stage, kinds in STAGES.items():
        for number in range(12):
            kind = kinds[number % len(kinds)]
            tasks.append(
                {
                    "task": f"{stage[0].upper()}{number + 1:02d}",
                    "stage": stage,
                    "title": f"{kind.capitalize()} {stage} part {number + 1}",
                    "type": kind,
                    "quantity": "6",
                    "planned_hours": f"{HOURS[kind]:g}",
                    "after": tasks[-1]["task"] if number else "",
                    "crew": "two" if kind == "rivet" else "either",
                    "hold_days": "2" if kind == "prime" else "",
                    "delivery": "engine" if stage == "hull" and number == 9 else "",
                    "added": "2026-06-12" if stage == "wings" and number >= 10 else "",
                }
            )
    return tasks


def _log(tasks: list[dict[str, str]], sessions: int) -> list[dict[str, str]]:
    rng = np.random.default_rng(7)
    day, at, left, rows = date(2025, 11, 1), 0, 0.0, []
    for _ in range(sessions):
        day += timedelta(days=int(rng.choice([1, 2, 3, 5, 9, 24], p=[0.3, 0.3, 0.2, 0.1, 0.07, 0.03])))
        if day > AS_OF:
            break
        hours = float(np.round(rng.gamma(4, 0.6), 1)) + 0.5
        pair = day >= date(2026, 5, 2) and rng.random() < 0.6
        task = tasks[at]
        left = left or float(task["planned_hours"]) * float(rng.lognormal(0.15, 0.35))
        left -= hours * (2 if pair else 1)
        rows.append(
            {
                "date": day.isoformat(),
                "hours": f"{hours:g}",
                "builders": "A+B" if pair else "A",
                "task": task["task"],
                "done": "yes" if left <= 0 else "",
                "rework": "yes" if rng.random() < 0.06 and left > 0 else "",
                "note": "",
            }
        )
        if left <= 0:
            at, left = at + 1, 0.0
    rows.append({**rows[-1], "task": "", "done": "", "hours": "1", "note": "swept the shop"})
    return rows


def _delivery() -> dict[str, str]:
    return {
        "delivery": "engine", "title": "Engine", "ordered": "", "lead_weeks_low": "12",
        "lead_weeks_likely": "20", "lead_weeks_high": "40", "arrived": "", "needed_for": "hull",
    }  # fmt: skip


def _write(path: Path, rows: list[dict[str, str]]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
