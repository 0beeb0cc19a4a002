"""Builds that fit in the hand, fitted for the questions asked of an outlook."""

from datetime import date
from pathlib import Path

from forecast.files.folder import Build
from forecast.files.logbook import Builder
from forecast.files.plan import Plan, Task
from forecast.simulate.fitted import Fitted, fit_build
from forecast.simulate.settings import Settings
from tests.conftest import sessions_frame

AS_OF = date(2026, 6, 28)
QUICK = Settings(runs=300, horizon_years=5)


def plan_of(*rows: dict) -> Plan:
    """Tasks T0, T1, ... of one stage and type unless a row says otherwise."""
    blank = {"stage": "hull", "title": "", "type": "fit", "planned_hours": 4.0}
    return Plan(tasks=tuple(Task(**{"task": f"T{i}", **blank, **row}) for i, row in enumerate(rows)))


def weekend_log(plan: Plan, done: int, builders: str = "A") -> list[dict]:
    """Four hours every Saturday and Sunday up to the end of June, one task a day finished."""
    days = [date(2026, 6, 28 - 7 * w - d) for w in range(4) for d in (0, 1)][:done]
    return [
        {"date": day.isoformat(), "hours": 4, "task": t.task, "stage": t.stage, "type": t.type,
         "builders": builders, "done": True}
        for day, t in zip(reversed(days), plan.tasks, strict=False)
    ]  # fmt: skip


def fitted_build(
    plan: Plan,
    *,
    done: int = 8,
    builders: tuple[Builder, ...] = (Builder(id="A"),),
    deliveries=(),
    limits=(),
    by: str = "A",
) -> Fitted:
    """The plan with its first tasks done on weekends, fitted."""
    build = Build(
        folder=Path("."), name="small", country=None, builders=builders, limits=tuple(limits), plan=plan,
        sessions=sessions_frame(weekend_log(plan, done, by)), deliveries=tuple(deliveries), away=(),
        notices=(),
    )  # fmt: skip
    return fit_build(build, AS_OF, QUICK)
