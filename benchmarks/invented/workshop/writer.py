"""Write an invented build as a build folder."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path

from benchmarks.invented.workshop.build import SyntheticBuild, known_delivery
from benchmarks.invented.workshop.log import LogRow
from forecast.files.logbook import Away, Builder
from forecast.files.plan import Delivery, Limit, Plan, Task


def write_build(synthetic: SyntheticBuild, folder: Path | str, *, until: date | None = None) -> None:
    """Write build.toml, plan.csv, log.csv and, where there are any, deliveries.csv and away.csv.

    Parameters
    ----------
    synthetic : the build
    folder : created when missing; files of these names are replaced
    until : last day that the folder knows of (default: the end of the build)
    """
    for name, text in folder_texts(synthetic, until).items():
        path = Path(folder) / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode("utf-8"))


def folder_texts(synthetic: SyntheticBuild, until: date | None) -> dict[str, str]:
    """File name -> its text."""
    build = synthetic.build
    last = until or date.max
    texts = {
        "build.toml": build_toml(build.name, build.country, build.builders, build.limits),
        "plan.csv": plan_csv(build.plan.known_on(last)),
        "log.csv": log_csv([r for r in synthetic.rows if r.until <= last]),
    }
    if build.deliveries:
        texts["deliveries.csv"] = deliveries_csv([known_delivery(d, last) for d in build.deliveries])
    if build.away:
        texts["away.csv"] = away_csv(build.away)
    return texts


def build_toml(name: str, country: str | None, builders: Sequence[Builder], limits: Sequence[Limit]) -> str:
    """build.toml as text."""
    lines = [f'name = "{name}"']
    if country:
        lines.append(f'country = "{country}"')
    for b in builders:
        lines += ["", "[[builder]]", f'id = "{b.id}"']
        lines += [f"joins = {b.joins}"] if b.joins else []
        lines += [f"weekly_hours = {b.weekly_hours:g}"] if b.weekly_hours else []
    for x in limits:
        lines += ["", "[[limit]]", f'id = "{x.id}"', f"amount = {x.amount:g}"]
    return "\n".join(lines) + "\n"


def plan_csv(plan: Plan) -> str:
    """plan.csv as text."""
    header = (
        "task stage title type quantity unit planned_hours after crew hold_days repeat_of delivery uses added"
    )
    return _csv(header, (_plan_record(t) for t in plan.tasks))


def _plan_record(t: Task) -> list[str]:
    uses = [f"{u.limit}:{u.amount:g}" + (f"@{u.until}" if u.until else "") for u in t.uses]
    return [
        t.task, t.stage, t.title, t.type, _number(t.quantity), t.unit, _number(t.planned_hours),
        " ".join(t.after), t.crew, _number(t.hold_days or None), t.repeat_of or "", t.delivery or "",
        " ".join(uses), _day(t.added),
    ]  # fmt: skip


def log_csv(rows: Iterable[LogRow]) -> str:
    """log.csv as text."""
    header = "date until start hours builders task stage type quantity percent done rework note"
    return _csv(header, (_log_record(r) for r in rows))


def _log_record(r: LogRow) -> list[str]:
    outside = r.task == ""
    return [
        _day(r.date), _day(r.until) if r.until != r.date else "", r.start, _hours(r.hours),
        r.builders + (f"+{r.helpers}" if r.helpers else ""), r.task, r.stage if outside else "",
        r.type if outside else "", _number(r.quantity), _number(r.percent), "yes" if r.done else "",
        "yes" if r.rework else "", r.note,
    ]  # fmt: skip


def deliveries_csv(deliveries: Iterable[Delivery]) -> str:
    """deliveries.csv as text."""
    header = (
        "delivery title ordered lead_weeks_low lead_weeks_likely lead_weeks_high arrived "
        "late_cost_per_week early_cost_per_week needed_for"
    )
    return _csv(header, (_delivery_record(d) for d in deliveries))


def _delivery_record(d: Delivery) -> list[str]:
    weeks = [_number(w) for w in (d.lead_weeks_low, d.lead_weeks_likely, d.lead_weeks_high)]
    return [
        d.delivery, d.title, _day(d.ordered), *weeks, _day(d.arrived), _number(d.late_cost_per_week),
        _number(d.early_cost_per_week), d.needed_for or "",
    ]  # fmt: skip


def away_csv(away: Iterable[Away]) -> str:
    """away.csv as text."""
    records = ([a.builder or "", _day(a.start), _day(a.end), a.reason] for a in away)
    return _csv("builder from to reason", records)


def _csv(header: str, records: Iterable[Sequence[str]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header.split())
    writer.writerows(records)
    return text.getvalue()


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _day(day: date | None) -> str:
    return "" if day is None else day.isoformat()


def _hours(hours: float) -> str:
    """Hours as people write them: 2, 1.5, but 0:45."""
    if hours * 2 == int(hours * 2):
        return f"{hours:g}"
    return f"{int(hours)}:{round(60 * (hours % 1)):02d}"
