"""A notation for invented kits: assemblies of steps, some of them built twice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from forecast.files.plan import Crew, Plan, Task, Use


class Step(NamedTuple):
    """One task of an assembly; `{}` in the title is replaced by the side, for one that is built twice.

    `parallel` steps wait for the first step of the assembly only; the next step waits for them and for
    the step before them.
    """

    title: str
    type: str
    quantity: int
    hours: float
    crew: Crew = "either"
    hold_days: int = 0
    parallel: bool = False
    uses: str = ""


UNITS = {
    "deburr": "part", "drill": "hole", "dimple": "hole", "prime": "part", "rivet": "rivet", "fit": "joint",
    "bend": "part", "cut": "part", "seal": "seam", "wire": "run", "test": "check", "hang": "piece",
    "laminate": "ply", "sand": "panel", "bond": "joint", "fill": "panel", "paint": "coat", "plumb": "line",
}  # fmt: skip


@dataclass(kw_only=True)
class Kit:
    """A plan under construction; task ids are a letter for the stage and a number."""

    letters: dict[str, str]
    tasks: list[Task] = field(default_factory=list)

    def assembly(
        self,
        stage: str,
        steps: Sequence[Step],
        *,
        sides: Sequence[str] = ("",),
        after: Sequence[str] | Mapping[str, Sequence[str]] = (),
        delivery: str | None = None,
    ) -> dict[str, list[str]]:
        """Add an assembly once, or once per side; the steps of the second side repeat those of the first.

        Parameters
        ----------
        stage, steps : where, and what
        sides : words for the titles
        after : ids that the first step waits for; a mapping gives them per side
        delivery : what the first step waits for

        Returns
        -------
        side -> ids of its steps
        """
        made: dict[str, list[str]] = {}
        for side in sides:
            ids: list[str] = []
            first_after = after[side] if isinstance(after, Mapping) else after
            for n, step in enumerate(steps):
                before = tuple(first_after) if n == 0 else self._before(step, ids, steps)
                first = made[sides[0]][n] if side != sides[0] else None
                ids.append(self._add(stage, step, side, before, first, delivery if n == 0 else None))
            made[side] = ids
        return made

    def join(self, stage: str, steps: Sequence[Step], *, after: Sequence[str]) -> list[str]:
        """Add a chain of steps that waits for all of `after`; the ids."""
        return self.assembly(stage, steps, after=after)[""]

    @property
    def plan(self) -> Plan:
        """The plan so far."""
        return Plan(tasks=tuple(self.tasks))

    @staticmethod
    def _before(step: Step, ids: Sequence[str], steps: Sequence[Step]) -> tuple[str, ...]:
        """The last step that is not `parallel`, and the steps since."""
        if step.parallel:
            return (ids[0],)
        for n in range(len(ids) - 1, 0, -1):
            if not steps[n].parallel:
                return tuple(ids[n:])
        return tuple(ids)

    def _add(
        self, stage: str, step: Step, side: str, after: tuple[str, ...], repeat_of: str | None,
        delivery: str | None,
    ) -> str:  # fmt: skip
        number = sum(t.stage == stage for t in self.tasks) + 1
        task = f"{self.letters[stage]}{number:02d}"
        self.tasks.append(
            Task(
                task=task,
                stage=stage,
                title=" ".join(step.title.format(side).split()),
                type=step.type,
                quantity=float(step.quantity),
                unit=UNITS[step.type],
                planned_hours=step.hours,
                after=after,
                crew=step.crew,
                hold_days=float(step.hold_days),
                repeat_of=repeat_of,
                delivery=delivery,
                uses=_uses(step.uses),
            )
        )
        return task


def _uses(text: str) -> tuple[Use, ...]:
    if not text:
        return ()
    limit, amount = text.split(":")
    return (Use(limit=limit, amount=float(amount)),)
