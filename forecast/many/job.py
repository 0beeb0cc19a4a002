"""One build as a worker receives it: what the forecast needs, and none of the builder's words.

Notes, titles, reasons, and the names of the build and of its files stay on the machine that read them.
A worker receives bytes and returns plain values, so that a cluster needs no access to the folders.
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

_MOST_DRIVERS = 3  # the table shows one task; two more are for other programs


@dataclass(frozen=True, kw_only=True)
class Job:
    """What one worker does for one build.

    Attributes
    ----------
    build : without the builder's words
    as_of : the last day that counts
    settings : with the build's own seed
    with_summary : whether to return what pooled priors need
    """

    build: Build
    as_of: date
    settings: Settings
    with_summary: bool

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
    """A build's own seed: the same wherever and in whatever company it is forecast.

    Parameters
    ----------
    seed : the seed of the command
    digest : of the build's files

    Examples
    --------
    >>> seed_of_build(0, "ab") == seed_of_build(0, "ab") != seed_of_build(1, "ab")
    True
    """
    return int.from_bytes(hashlib.sha256(f"{seed} {digest}".encode()).digest()[:4], "big") >> 1


def run_job(data: bytes) -> dict[str, Any]:
    """Fit and simulate one build: its answer as plain values, or {"failed": sentence}."""
    try:
        return _forecast(pickle.loads(data))
    except Exception as error:  # noqa: BLE001 - one build's failure is reported and must not stop the others
        return {"failed": f"could not be forecast ({type(error).__name__}: {error})"}


def _forecast(job: Job) -> dict[str, Any]:
    from forecast.questions.drivers import simulate_with_drivers
    from forecast.simulate.fitted import fit_build
    from forecast.simulate.runs import limit_threads

    fitted = fit_build(job.build, job.as_of, job.settings)
    with limit_threads(1):  # the other cores have builds of their own
        outlook, drivers = simulate_with_drivers(fitted, job.settings)
    criticality = dict(zip(drivers.tasks.names, drivers.tasks.index.tolist(), strict=True))
    answer = outlook.to_dict() | {
        "open_stages": list(outlook.open_stages),
        "held_by": {
            "tasks": [
                {"task": name, "critical": round(criticality[name], 4)}
                for name in drivers.tasks.most_crucial(_MOST_DRIVERS)
                if criticality[name] > 0
            ],
            "causes": {cause: round(float(share), 4) for cause, share in drivers.tasks.causes.items()},
        },
    }
    if job.with_summary:
        from forecast.many.summary import summary_of

        answer["summary"] = summary_of(fitted).to_dict()
    return answer
