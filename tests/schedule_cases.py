"""Invented builds for the tests of the schedule: random networks with everything that can bind."""

import numpy as np

from forecast.files.plan import Delivery, Limit, Plan, Task, Use
from forecast.simulate.network import UNFINISHED, Network, Simulation, network_of_untouched
from forecast.simulate.network.records import ROW_ORDER

STAGES = ("tail", "wing", "hull", "systems")
LIMITS = (Limit(id="clecos", amount=5.0), Limit(id="bench", amount=2.0))


def random_plan(tasks: int, rng: np.random.Generator, *, limits: bool = True) -> Plan:
    """Stages in turn, each task after up to two of the twelve before it, one in ten with a hold."""
    rows = []
    for i in range(tasks):
        earlier = rng.choice(np.arange(max(0, i - 12), i), size=min(i, rng.integers(0, 3)), replace=False)
        rows.append(
            Task(
                task=f"T{i}",
                stage=STAGES[i * len(STAGES) // tasks] if rng.random() < 0.9 else str(rng.choice(STAGES)),
                title="",
                after=tuple(f"T{j}" for j in sorted(earlier)),
                crew=str(rng.choice(["one", "either", "two"], p=[0.3, 0.5, 0.2])),
                hold_days=float(rng.choice([0, 0.5, 2], p=[0.9, 0.05, 0.05])),
                delivery=str(rng.choice(["K1", "K2"])) if rng.random() < 0.05 else None,
                uses=_random_uses(i, tasks, rng) if limits else (),
            )
        )
    return Plan(tasks=tuple(rows))


def _random_uses(i: int, tasks: int, rng: np.random.Generator) -> tuple[Use, ...]:
    if rng.random() > 0.2:
        return ()
    until = f"T{i + int(rng.integers(0, 3))}" if i + 3 < tasks else None
    use = Use(limit=str(rng.choice([x.id for x in LIMITS])), amount=float(rng.integers(1, 3)), until=until)
    if use.amount == 1 and rng.random() < 0.3:
        return (use, Use(limit=use.limit, amount=1.0, until=None))
    return (use,)


def random_network(tasks: int, rng: np.random.Generator, *, limits: bool = True) -> Network:
    """The network of a random plan with two deliveries."""
    kits = [
        Delivery(delivery=k, title=k, ordered=None, lead_weeks_low=1, lead_weeks_likely=2, lead_weeks_high=3)
        for k in ("K1", "K2")
    ]
    return network_of_untouched(random_plan(tasks, rng, limits=limits), deliveries=kits, limits=LIMITS)


def random_draws(network: Network, draws: int, days: int, people: int, rng: np.random.Generator) -> dict:
    """Hours, presence, stages and arrivals like those of the samplers."""
    there = rng.random((draws, days, 1)) < 0.4
    both = rng.random((draws, days, people)) < 0.7
    return {
        "hours": rng.lognormal(1.0, 0.8, (draws, len(network.tasks))),
        "bench": np.where(there & both, 0.7 * rng.standard_gamma(4.2, (draws, days, people)), 0.0).astype(
            np.float32
        ),
        "stage_rank": random_ranks(draws, days, rng),
        "release": rng.uniform(0, 60, (draws, len(network.deliveries))),
    }


def random_ranks(draws: int, days: int, rng: np.random.Generator) -> np.ndarray:
    """Ranks of recency, more of them than there are stages; one day in five goes by row order."""
    ranks = np.minimum(rng.geometric(0.5, (draws, days)) - 1, len(STAGES) + 1)
    return np.where(rng.random((draws, days)) < 0.2, ROW_ORDER, ranks).astype(np.uint8)


def unfinished_share(simulation: Simulation) -> dict[str, float]:
    """Share of the runs that end unfinished, by what they lack."""
    counts = np.bincount(simulation.lacks, minlength=len(UNFINISHED))[1:]
    return {
        name: float(count) / len(simulation.lacks)
        for name, count in zip(UNFINISHED[1:], counts, strict=True)
        if count
    }
