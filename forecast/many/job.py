"""One build as a worker gets it: what the forecast needs, and none of the builder's words.

Notes, titles, reasons, the names of the build and of its files stay where they were read. A worker is
handed bytes and hands back plain numbers, so that a cluster has nothing to look after.
"""

from __future__ import annotations

import hashlib
import pickle
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from forecast.files.folder import Build
from forecast.files.plan import Plan
from forecast.simulate.settings import Settings

_MOST_HOLDING = 3


@dataclass(frozen=True, kw_only=True)
class Job:
    """What one worker does for one build.

    Attributes
    ----------
    build : without the builder's words
    as_of : the last day that counts
    settings : with the build's own seed
    learn : whether to hand back what pooled priors need
    """

    build: Build
    as_of: date
    settings: Settings
    learn: bool

    def packed(self) -> bytes:
        """The job as it travels."""
        return pickle.dumps(self, protocol=5)


def without_words(build: Build) -> Build:
    """The same build with every free text blank: same forecast, nothing to read."""
    tasks = tuple(replace(t, title="") for t in build.plan.tasks)
    return replace(
        build,
        folder=Path("."),
        name="",
        plan=Plan(tasks=tasks),
        sessions=build.sessions.assign(note="", file=""),
        deliveries=tuple(replace(d, title="") for d in build.deliveries),
        away=tuple(replace(a, reason="") for a in build.away),
        notices=(),
    )


def seed_of_build(seed: int, digest: str) -> int:
    """A seed that comes from the build and the seed asked for, whoever plays it.

    >>> seed_of_build(0, "ab") == seed_of_build(0, "ab") != seed_of_build(1, "ab")
    True
    """
    return int.from_bytes(hashlib.sha256(f"{seed} {digest}".encode()).digest()[:4], "big") >> 1


def run_job(data: bytes) -> dict[str, Any]:
    """Fit and play one build: its answer as plain numbers, or {"failed": sentence}."""
    try:
        return _answer(pickle.loads(data))
    except Exception as error:  # noqa: BLE001 - one build's failure is reported and must not stop the others
        return {"failed": f"could not be forecast ({type(error).__name__}: {error})"}


def _answer(job: Job) -> dict[str, Any]:
    from forecast.questions.drivers import simulate_with_drivers
    from forecast.simulate.fitted import fit_build
    from forecast.simulate.runs import limit_threads

    fitted = fit_build(job.build, job.as_of, job.settings)
    with limit_threads(1):
        outlook, holders = simulate_with_drivers(fitted, job.settings)
    answer = outlook.to_dict()
    index = dict(zip(holders.tasks.names, holders.tasks.index.tolist(), strict=True))
    answer["open_stages"] = list(outlook.open_stages)
    answer["held_by"] = {
        "tasks": [
            {"task": name, "critical": round(index[name], 4)}
            for name in holders.tasks.most_crucial(_MOST_HOLDING)
            if index[name] > 0
        ],
        "causes": {cause: round(float(share), 4) for cause, share in holders.tasks.causes.items()},
    }
    if job.learn:
        from forecast.many.summary import summary_of

        answer["summary"] = summary_of(fitted).to_dict()
    return answer
