"""What an invented build is: its files, its truth, and the questions a study asks of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Piece:
    """One true piece of work: one group of people at one task on one day.

    ``person_hours`` is the true figure (unrounded); ``hours`` are clock hours, so that
    ``person_hours == hours * people``. ``task`` is the plan row the work belonged to, blank for work
    outside the plan, whatever the log calls it. ``logged`` says whether the log has the hours at all,
    ``task_named`` whether the log row carries the task id.
    """

    date: date
    stage: str
    task: str
    type: str
    hours: float
    people: int
    builders: str
    rework: bool = False
    done: bool = False
    logged: bool = True
    task_named: bool = True
    percent: float | None = None
    pieces: int | None = None

    @property
    def person_hours(self) -> float:
        """Person-hours of the piece: clock hours times people."""
        return self.hours * self.people


@dataclass(frozen=True)
class Truth:
    """What really happened, apart from what the household wrote down.

    ``finish`` and ``stage_finish`` are the days of the last ``done`` row; they are None where the
    household had not finished when the simulation ended (``HORIZON_YEARS``). ``plan_versions`` is
    filled only where the plan does not say when a row came: (day, text of plan.csv from that day on).
    """

    start: date
    finish: date | None
    stage_finish: dict[str, date | None]
    worked: tuple[Piece, ...]
    hours: float
    stage_hours: dict[str, float]
    plan_versions: tuple[tuple[date, str], ...] = ()
    mechanisms: tuple[str, ...] = ()
    drawn: dict[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class LivedBuild:
    """One invented build: the household's files and the truth behind them."""

    name: str
    kind: str
    seed: int
    files: dict[str, str]
    truth: Truth

    def write(self, folder: str | Path, as_of: date | None = None) -> Path:
        """Write the household's files into ``folder`` (made if missing) and return it.

        With ``as_of``, plan.csv is the version that existed on that day, for builds whose plan does
        not mark when rows came. The log is always whole: forecasts of the past cut it by date.
        """
        folder = Path(folder)
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in self.files.items():
            (folder / name).write_text(text, encoding="utf-8", newline="")
        if as_of is not None:
            (folder / "plan.csv").write_text(plan_as_of(self, as_of), encoding="utf-8", newline="")
        return folder


def plan_as_of(build: LivedBuild, day: date) -> str:
    """Text of plan.csv as it was on ``day``; the whole file where the rows carry their own dates."""
    known = [text for since, text in build.truth.plan_versions if since <= day]
    return known[-1] if known else build.files["plan.csv"]


def cuts(build: LivedBuild, shares: Sequence[float] = (0.1, 0.25, 0.5, 0.75)) -> list[date]:
    """First days on which at least each share of the true person-hours has been worked.

    Raises ValueError for a share outside (0, 1].
    """
    return [day_of_share(build, share) for share in shares]


def day_of_share(build: LivedBuild, share: float, stage: str | None = None) -> date:
    """First day on which at least ``share`` of the true person-hours has been worked, of a stage or all.

    ``share=0.9`` is the day that `first_90` forecasts. Raises ValueError for a share outside (0, 1] or a
    stage without work.
    """
    if not 0 < share <= 1:
        raise ValueError(f"share must be in (0, 1]. Got {share!r} instead.")
    total = build.truth.hours if stage is None else build.truth.stage_hours.get(stage, 0.0)
    # the tolerance lets share 1 be reached in spite of the order of additions
    wanted, so_far = share * total * (1 - 1e-9), 0.0
    for piece in build.truth.worked:
        if stage is None or piece.stage == stage:
            so_far += piece.person_hours
            if so_far >= wanted:
                return piece.date
    raise ValueError(f"stage must be one that has been worked at. Got {stage!r} instead.")


def hours_left(build: LivedBuild, day: date, stage: str | None = None, in_plan: bool = False) -> float:
    """True person-hours worked after ``day``, of one stage or of all work.

    ``in_plan`` leaves out work that belongs to no row of the plan (cleaning, ordering).
    """
    return sum(
        piece.person_hours
        for piece in build.truth.worked
        if piece.date > day and (stage is None or piece.stage == stage) and (piece.task or not in_plan)
    )
