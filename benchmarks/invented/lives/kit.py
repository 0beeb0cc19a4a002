"""The kit: stages, sub-assemblies and tasks with planned hours, as the plan has them on the first day."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from benchmarks.invented.lives.traits import Kit, Traits, between

Generator = np.random.Generator

# Name, share of the hours, whether it has a left and a right half, types of its tasks. Judgement: the
# order and weight of the stages of a small metal or mixed kit.
STAGES = (
    ("tail", 8.0, True, ("drill", "deburr", "dimple", "prime", "rivet")),
    ("wings", 20.0, True, ("drill", "deburr", "dimple", "prime", "rivet", "seal")),
    ("control surfaces", 6.0, True, ("drill", "deburr", "prime", "rivet", "fit")),
    ("fuselage", 21.0, False, ("drill", "deburr", "dimple", "prime", "rivet", "fit")),
    ("undercarriage", 5.0, False, ("fit", "drill", "torque")),
    ("canopy", 6.0, False, ("cut", "fit", "glass", "sand")),
    ("engine", 9.0, False, ("fit", "install", "torque", "seal")),
    ("wiring", 8.0, False, ("wire", "install", "test")),
    ("fitting out", 8.0, False, ("install", "fit", "trim", "wire")),
    ("finishing", 9.0, False, ("sand", "fill", "paint", "fit", "test")),
)
ALWAYS = ("wings", "fuselage", "finishing")
LATE = ("wiring", "fitting out", "finishing")
WET = {"prime": (0.5, 1.0, 2.0), "seal": (1.0, 3.0, 7.0), "glass": (1.0, 2.0), "paint": (1.0, 2.0, 5.0)}
COUNTED = {"rib": (6, 28), "bracket": (2, 12), "skin": (2, 8), "hinge": (2, 10), "run": (2, 15)}


@dataclass(slots=True, eq=False)
class Task:
    """One task of the true work: what the plan says of it, and how it is going."""

    number: int
    id: str
    stage: int
    title: str
    type: str
    true_type: str
    quantity: int
    unit: str
    basis: float
    planned: float | None
    crew: str = "either"
    hold: float = 0.0
    after: list[Task] = field(default_factory=list)
    before: list[Task] = field(default_factory=list)
    repeat_of: Task | None = None
    delivery: int | None = None
    added: int | None = None
    tail: bool = False
    original: bool = True
    row: int = 0
    # course of the work
    blocked: int = 0
    free_from: float = 0.0
    ahead: bool = False
    waits_for: tuple[int, float] | None = None
    total: float | None = None
    worked: float = 0.0
    remaining: float = 0.0
    finished: bool = False
    ever_finished: bool = False
    redone: bool = False
    last_day: int = -1
    hidden_defect: float = 0.0
    counted: int = 0

    def needs(self, other: Task) -> None:
        """Have this task wait for another."""
        if other not in self.after:
            self.after.append(other)
            other.before.append(self)
            self.blocked += 1


@dataclass(slots=True)
class Plan:
    """All tasks so far, by stage, and the delivery of each stage (None: needs none)."""

    stages: list[str]
    tasks: list[Task]
    rows: list[tuple[int, str]]
    planned_total: float

    def of_stage(self, stage: int) -> list[Task]:
        """Tasks of one stage in the order of the plan."""
        return [task for task in self.tasks if task.stage == stage]


def round_planned(hours: float, whole: float, rng: Generator) -> float:
    """Guides and guesses give round hours: whole ones, half ones, and fives when large."""
    if hours > 25:
        return float(max(5, 5 * round(hours / 5)))
    if hours > 3 and rng.random() < whole:
        return float(round(hours))
    return float(max(0.5, 0.5 * round(hours / 0.5)))


def draw_plan(traits: Traits, rng: Generator) -> Plan:
    """Draw the kit of one household."""
    kit = traits.kit
    chosen = choose_stages(kit, rng)
    weights = np.array([STAGES[k][1] for k in chosen]) * rng.gamma(6.0, 1 / 6.0, len(chosen))
    hours = kit.planned_hours * weights / weights.sum()
    count = float(np.clip(kit.planned_hours / kit.task_hours, 60, 290))
    plan = Plan([STAGES[k][0] for k in chosen], [], [], 0.0)
    for position, k in enumerate(chosen):
        tasks = max(4, round(count * hours[position] / kit.planned_hours))
        add_stage(plan, position, k, hours[position], tasks, traits, rng)
    link_stages(plan, traits, rng)
    plan.planned_total = sum(task.basis for task in plan.tasks)
    set_rows(plan, kit)
    return plan


def choose_stages(kit: Kit, rng: Generator) -> list[int]:
    """Pick which stages the kit has, in building order."""
    fixed = [k for k, stage in enumerate(STAGES) if stage[0] in ALWAYS]
    others = [k for k in range(len(STAGES)) if k not in fixed]
    extra = rng.choice(others, size=max(0, min(kit.stages, len(STAGES)) - len(fixed)), replace=False)
    return sorted(fixed + [int(k) for k in extra])


def add_stage(
    plan: Plan, position: int, k: int, hours: float, count: int, traits: Traits, rng: Generator
) -> None:
    """Add the tasks of one stage: sub-assemblies, perhaps mirrored, and the fiddly last tenth."""
    name, _, mirrored, types = STAGES[k]
    kit = traits.kit
    tail = max(1, round(kit.tail_share * count))
    body = count - tail
    sizes = rng.lognormal(0, kit.task_spread, count)
    sizes *= hours / sizes.sum()
    if mirrored and body >= 4:
        half = body // 2
        # the plan gives both halves the same hours, as a guide does
        sizes[half : 2 * half] = sizes[:half]
        left = add_strand(plan, position, "left", sizes[:half], types, traits, rng, None)
        add_strand(plan, position, "right", sizes[half : 2 * half], types, traits, rng, left)
        rest = sizes[2 * half : body]
        strands = [left]
    else:
        strands = []
        rest = sizes[:body]
    pieces = np.array_split(rest, min(kit.strands, max(1, len(rest) // 3))) if len(rest) else []
    for number, part in enumerate(pieces):
        strands.append(add_strand(plan, position, f"part {number + 1}", part, types, traits, rng, None))
    for size in sizes[body:]:
        task = add_task(plan, position, f"{name}: last {types[-1]}", types[-1], size, traits, rng)
        task.tail = True
        strand = strands[int(rng.integers(len(strands)))]
        task.needs(strand[-1])


def add_strand(
    plan: Plan,
    position: int,
    label: str,
    sizes: np.ndarray,
    types: tuple[str, ...],
    traits: Traits,
    rng: Generator,
    mirror: list[Task] | None,
) -> list[Task]:
    """Add one sub-assembly; as the mirror of an earlier one, its tasks repeat that one's."""
    strand: list[Task] = []
    for number, size in enumerate(sizes):
        kind = mirror[number].type if mirror else types[int(rng.integers(len(types)))]
        title = f"{kind.capitalize()} {plan.stages[position]} {label} {number + 1}"
        task = add_task(plan, position, title, kind, size, traits, rng)
        if mirror:
            task.repeat_of = mirror[number]
            task.planned, task.basis = mirror[number].planned, mirror[number].basis
            task.crew, task.quantity, task.unit = (
                getattr(mirror[number], x) for x in ("crew", "quantity", "unit")
            )
        if strand and rng.random() < traits.kit.chained:
            task.needs(strand[-1])
        strand.append(task)
    return strand


def add_task(
    plan: Plan, position: int, title: str, kind: str, size: float, traits: Traits, rng: Generator
) -> Task:
    """Add one task; ``basis`` is the size behind the rounded planned hours."""
    kit = traits.kit
    planned = round_planned(float(size), kit.whole_rounding, rng)
    label = kind
    if traits.effort.mislabel and rng.random() < traits.effort.mislabel:
        others = STAGES[int(rng.integers(len(STAGES)))][3]
        label = others[int(rng.integers(len(others)))]
    quantity, unit = draw_quantity(rng)
    draw = rng.random()
    crew = "two" if draw < kit.two_person else ("one" if draw > 0.87 else "either")
    task = Task(
        number=len(plan.tasks),
        id=f"T{len(plan.tasks) + 1:03d}",
        stage=position,
        title=title,
        type=label,
        true_type=kind,
        quantity=quantity,
        unit=unit,
        basis=planned,
        planned=None if rng.random() < kit.unknown_hours else planned,
        crew=crew,
    )
    if kind in WET and rng.random() < 0.6:
        task.hold = float(rng.choice(WET[kind]))
    task.ahead = bool(rng.random() < traits.choice.ahead)
    if traits.effort.lot_share and rng.random() < traits.effort.lot_share:
        # the guide was written for another lot: the pieces are right, the hours are not
        task.basis = planned * float(np.exp(rng.choice((-1, 1)) * between(rng, 0.4, 1.2)))
    plan.tasks.append(task)
    return task


def draw_quantity(rng: Generator) -> tuple[int, str]:
    """A quarter of the tasks are lots of like pieces."""
    if rng.random() > 0.25:
        return 1, "piece"
    unit = list(COUNTED)[int(rng.integers(len(COUNTED)))]
    low, high = COUNTED[unit]
    return int(rng.integers(low, high + 1)), unit


def link_stages(plan: Plan, traits: Traits, rng: Generator) -> None:
    """Have stages start on tasks of earlier stages, and let the last tenth of some wait for later ones."""
    for position in range(1, len(plan.stages)):
        own = [task for task in plan.of_stage(position) if not task.tail]
        earlier = [task for task in plan.tasks if task.stage < position and not task.tail]
        for task in own:
            if not task.after and rng.random() < 0.45:
                recent = earlier[-max(3, len(earlier) // 2) :]
                task.needs(recent[int(rng.integers(len(recent)))])
    last = len(plan.stages) - 1
    for position in range(last):
        if rng.random() >= traits.choice.tail_wait:
            continue
        # the tip is left off until the hangar, the panel until the radio: one cause for a few tasks
        late = traits.choice.tail_late
        later = rng.integers(position + 1, last + 1, 2 if late > 0.2 else 1)
        wait = (int(later.max()), between(rng, late, 0.97))
        for task in plan.of_stage(position):
            if task.tail and rng.random() < 0.6 + 0.4 * late:
                task.waits_for = wait


def set_rows(plan: Plan, kit: Kit) -> None:
    """Give every task its row of plan.csv: its own, or a coarse row that covers many."""
    if kit.coarse_rows is None:
        plan.rows = []
        return
    for position, name in enumerate(plan.stages):
        tasks = plan.of_stage(position)
        rows = min(kit.coarse_rows, len(tasks))
        first = len(plan.rows)
        for number in range(rows):
            suffix = "" if rows == 1 else f", part {number + 1}"
            plan.rows.append((position, f"{name.capitalize()}{suffix}"))
        for number, task in enumerate(tasks):
            task.row = first + number * rows // len(tasks)
