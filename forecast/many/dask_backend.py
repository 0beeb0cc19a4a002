"""joblib's Dask backend, telling at once of jobs that Dask has given up, and of a cluster without workers.

As it comes, the backend hands over answers only: of a job that took down as many workers as Dask allows
nothing is heard, and the run waits until its longest time is over.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

from joblib._dask import DaskDistributedBackend

_LOOK_SECONDS = 1.0


def reporting_backend(client: Any, *, worker_timeout: float) -> ReportingBackend:
    """A backend for one run; a cluster without workers for so many seconds loses the jobs it has."""
    backend = ReportingBackend(client=client)
    backend.worker_timeout = worker_timeout
    return backend


class ReportingBackend(DaskDistributedBackend):
    """Hands over the exception of a job that Dask has marked as failed, as it does an answer."""

    worker_timeout: float

    def effective_n_jobs(self, n_jobs: int) -> int:
        """Threads of the cluster, two at least: one job at a time joblib would do in this very process."""
        return max(int(super().effective_n_jobs(n_jobs)), 2)

    def start_call(self) -> None:
        """Begin, and look after the workers while it goes on."""
        self.pending: dict[Any, Callable[[Any], None]] = {}
        super().start_call()
        self.client.loop.add_callback(self._look_after_workers)

    def submit(self, func: Any, callback: Callable[[Any], None] | None = None) -> Any:
        """One job; `callback` gets its answer, or the exception that it ended in."""
        future = super().submit(func, callback)
        if callback is not None:
            self.pending[future] = callback
            future.add_done_callback(self._tell_of_failure)
        return future

    def _tell_of_failure(self, future: Any) -> None:
        callback, error = self.pending.pop(future, None), future.exception()
        if callback is not None and error is not None:
            callback(error)

    async def _look_after_workers(self) -> None:
        without = 0.0
        while self._continue:
            await asyncio.sleep(_LOOK_SECONDS)
            there = bool(await self.client.scheduler.ncores())
            without = 0.0 if there or not self.pending else without + _LOOK_SECONDS
            if without >= self.worker_timeout:
                while self.pending:
                    self.pending.popitem()[1](TimeoutError("no worker is left"))
