"""Many jobs on this machine's cores or on a Dask cluster, through joblib; a lost worker is survived.

Jobs are taken one by one as workers fall free, so that memory does not grow with their number. When a
worker is lost, the jobs that had no answer yet are done again, each alone: the one that takes its
worker down a second time is reported, and the rest go on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from threading import Lock
from typing import Any

from forecast.errors import UsageError

Answer = dict[str, Any]
Work = Callable[[bytes], Answer]
LOST = "took its worker down twice, and gave no answer"
_WAIT_FOR_SCHEDULER = "10s"
_LONGEST_SECONDS = 900.0
_LONGEST_WITHOUT_WORKERS = 60.0


class LocalExecutor:
    """Where jobs are done.

    Parameters
    ----------
    workers : processes on this machine; 1 = in this one
    job_timeout : a job that gives no answer for so long counts as lost with its worker
    """

    def __init__(self, *, workers: int, job_timeout: float = _LONGEST_SECONDS) -> None:
        self.workers = workers
        self.job_timeout = job_timeout

    def run(self, work: Work, jobs: Iterable[tuple[int, bytes]]) -> Iterator[tuple[int, Answer]]:
        """Answers by the number of their job, in the order in which they come.

        Parameters
        ----------
        work : a function of one module, so that workers find it
        jobs : (number, data); read as far ahead as keeps the workers busy
        """
        feed, more = _Feed(work, jobs), True
        while more:
            try:
                for number, answer in self._parallel(feed):
                    feed.waiting.pop(number)
                    yield number, answer
                more = False
            except self._losses():
                more = True
            for number, data in feed.left_over():
                yield number, self._alone(work, number, data)

    def _alone(self, work: Work, number: int, data: bytes) -> Answer:
        try:
            ((_, answer),) = self._parallel(_Feed(work, [(number, data)]))
        except self._losses():
            return {"failed": LOST}
        return answer

    def _parallel(self, feed: Iterable[Any]) -> Iterator[tuple[int, Answer]]:
        from joblib import Parallel

        parallel = Parallel(
            n_jobs=self.workers,
            batch_size=1,
            return_as="generator_unordered",
            timeout=self.job_timeout if self.workers > 1 else None,
        )
        return iter(parallel(feed))

    def _losses(self) -> tuple[type[BaseException], ...]:
        from joblib.externals.loky.process_executor import BrokenProcessPool

        return BrokenProcessPool, TimeoutError


class DaskExecutor(LocalExecutor):
    """The same on a Dask cluster: as many jobs at a time as it has threads."""

    def __init__(
        self,
        client: Any,
        *,
        job_timeout: float = _LONGEST_SECONDS,
        worker_timeout: float = _LONGEST_WITHOUT_WORKERS,
    ) -> None:
        super().__init__(workers=-1, job_timeout=job_timeout)
        self.client, self.worker_timeout = client, worker_timeout

    def _await_worker(self) -> None:
        """Wait for somebody who could do the next job."""
        try:
            self.client.wait_for_workers(1, timeout=self.worker_timeout)
        except TimeoutError:
            raise UsageError(
                f"--scheduler: the cluster has had no worker for {self.worker_timeout:.0f} seconds; "
                "what was finished until then is kept."
            ) from None

    def _parallel(self, feed: Iterable[Any]) -> Iterator[tuple[int, Answer]]:
        from joblib import Parallel, parallel_config

        from forecast.many.dask_backend import reporting_backend

        if self.client.status != "running":
            raise UsageError("--scheduler: the cluster is gone; what was finished until then is kept.")
        self._await_worker()
        backend = reporting_backend(self.client, worker_timeout=self.worker_timeout)
        with parallel_config(backend=backend):
            parallel = Parallel(batch_size=1, return_as="generator_unordered", timeout=self.job_timeout)
            return iter(parallel(feed))

    def _losses(self) -> tuple[type[BaseException], ...]:
        from concurrent.futures import CancelledError

        from distributed.scheduler import KilledWorker

        return KilledWorker, CancelledError, TimeoutError


@contextmanager
def open_executor(*, workers: int | None = None, scheduler: str | None = None) -> Iterator[LocalExecutor]:
    """This machine's cores, or the cluster of a Dask scheduler.

    Parameters
    ----------
    workers : processes on this machine; None = one a core
    scheduler : address such as tcp://127.0.0.1:8786

    Raises
    ------
    UsageError when there is no scheduler at the address, or Dask is not installed.
    """
    if scheduler is None:
        from joblib import cpu_count

        yield LocalExecutor(workers=workers or cpu_count())
        return
    try:
        from distributed import Client
    except ImportError:
        raise UsageError('--scheduler needs Dask: pip install "benchdays[cluster]".') from None
    try:
        client = Client(scheduler, timeout=_WAIT_FOR_SCHEDULER, set_as_default=False)
    except (OSError, ValueError, TypeError):
        raise UsageError(f"--scheduler: no Dask scheduler answers at {scheduler!r}.") from None
    with client:
        yield DaskExecutor(client)


class _Feed:
    """Jobs for whichever thread asks for the next one; keeps those that have no answer yet."""

    def __init__(self, work: Work, jobs: Iterable[tuple[int, bytes]]) -> None:
        self.work, self.jobs, self.lock = work, iter(jobs), Lock()
        self.waiting: dict[int, bytes] = {}

    def __iter__(self) -> _Feed:
        return self

    def __next__(self) -> Any:
        from joblib import delayed

        with self.lock:
            number, data = next(self.jobs)
            self.waiting[number] = data
        return delayed(_numbered)(self.work, number, data)

    def left_over(self) -> list[tuple[int, bytes]]:
        """The jobs without an answer, which are from now on somebody else's."""
        with self.lock:
            left, self.waiting = sorted(self.waiting.items()), {}
        return left


def _numbered(work: Work, number: int, data: bytes) -> tuple[int, Answer]:
    return number, work(data)
