"""Many jobs on this machine's cores (joblib) or on a Dask cluster; the loss of a worker is survived.

Jobs are read only as workers become free, so that memory does not grow with their number. When a worker
is lost, each job that had no answer yet is repeated alone: the one that stops its worker again is
reported, and all others get their answers.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from queue import Empty, SimpleQueue
from threading import Lock
from typing import Any

from forecast.errors import UsageError

Answer = dict[str, Any]
Work = Callable[[bytes], Answer]
Attempt = tuple[int, bytes, Answer | None]
LOST = "stopped its worker twice without an answer"
_WAIT_FOR_SCHEDULER = "10s"
# Judgement: a large build of 2,000 tasks takes seconds, so a quarter of an hour means that something hangs.
_JOB_TIMEOUT = 900.0
# Judgement: cluster managers start a new worker within a minute.
_WORKER_TIMEOUT = 60.0
_POLL_SECONDS = 1.0
# Jobs at hand per thread, as joblib's own default: the next one is there when a worker becomes free.
_JOBS_PER_THREAD = 2


class Executor(ABC):
    """Runs independent jobs.

    Parameters
    ----------
    job_timeout : seconds; if no job answers for so long, those under way count as lost with their workers
    """

    def __init__(self, *, job_timeout: float = _JOB_TIMEOUT) -> None:
        self.job_timeout = job_timeout

    def run(self, work: Work, jobs: Iterable[tuple[int, bytes]]) -> Iterator[tuple[int, Answer]]:
        """Yield (number, answer) in the order in which the answers come.

        Parameters
        ----------
        work : a function of one module, so that workers can import it
        jobs : (number, data), read as workers become free

        Raises
        ------
        UsageError when a cluster has lost its workers or its scheduler.
        """
        lost = []
        for number, data, answer in self._attempts(work, jobs):
            if answer is None:
                lost.append((number, data))
            else:
                yield number, answer
        for job in lost:
            ((number, _, answer),) = self._attempts(work, [job])
            yield number, {"failed": LOST} if answer is None else answer

    @abstractmethod
    def _attempts(self, work: Work, jobs: Iterable[tuple[int, bytes]]) -> Iterator[Attempt]:
        """Run each job once; yield it with its answer, or with None if it was lost with its worker."""


class LocalExecutor(Executor):
    """Runs jobs in processes of this machine.

    Parameters
    ----------
    workers : processes; 1 = this one, where nothing times out
    job_timeout : seconds, as for every executor
    """

    def __init__(self, *, workers: int, job_timeout: float = _JOB_TIMEOUT) -> None:
        super().__init__(job_timeout=job_timeout)
        self.workers = workers

    def _attempts(self, work: Work, jobs: Iterable[tuple[int, bytes]]) -> Iterator[Attempt]:
        from joblib import Parallel
        from joblib.externals.loky.process_executor import BrokenProcessPool

        queue = _JobQueue(work, jobs)
        timeout = self.job_timeout if self.workers > 1 else None
        while True:
            parallel = Parallel(
                n_jobs=self.workers, batch_size=1, return_as="generator_unordered", timeout=timeout
            )
            try:
                for number, answer in parallel(queue):
                    yield number, queue.unanswered.pop(number), answer
                return
            except (BrokenProcessPool, TimeoutError):
                # All workers stop with the one that broke: nothing of these jobs will be heard any more.
                yield from ((number, data, None) for number, data in queue.give_up())


class _JobQueue:
    """Jobs for whichever of joblib's threads needs the next one, and those without an answer yet."""

    def __init__(self, work: Work, jobs: Iterable[tuple[int, bytes]]) -> None:
        self.work, self.jobs, self.lock = work, iter(jobs), Lock()
        self.unanswered: dict[int, bytes] = {}

    def __iter__(self) -> _JobQueue:
        return self

    def __next__(self) -> Any:
        from joblib import delayed

        with self.lock:
            number, data = next(self.jobs)
            self.unanswered[number] = data
        return delayed(_numbered)(self.work, number, data)

    def give_up(self) -> list[tuple[int, bytes]]:
        """Remove and return the jobs without an answer."""
        with self.lock:
            jobs, self.unanswered = sorted(self.unanswered.items()), {}
        return jobs


def _numbered(work: Work, number: int, data: bytes) -> tuple[int, Answer]:
    return number, work(data)


class DaskExecutor(Executor):
    """Runs jobs on a Dask cluster, never in this process.

    Parameters
    ----------
    client : distributed.Client
    job_timeout : seconds, as for every executor
    worker_timeout : seconds that a cluster may be without workers
    """

    def __init__(
        self, client: Any, *, job_timeout: float = _JOB_TIMEOUT, worker_timeout: float = _WORKER_TIMEOUT
    ) -> None:
        super().__init__(job_timeout=job_timeout)
        self.client, self.worker_timeout = client, worker_timeout

    def _attempts(self, work: Work, jobs: Iterable[tuple[int, bytes]]) -> Iterator[Attempt]:
        jobs, silent, most = iter(jobs), 0.0, self._most_pending()
        pending: dict[Any, tuple[int, bytes]] = {}
        completed: SimpleQueue[Any] = SimpleQueue()
        while True:
            while len(pending) < most and (job := next(jobs, None)) is not None:
                future = self.client.submit(work, job[1], pure=False)
                pending[future] = job
                future.add_done_callback(completed.put)
            if not pending:
                return
            # Not as_completed: it would wait without end for a cluster that has no worker left.
            try:
                future, silent = completed.get(timeout=_POLL_SECONDS), 0.0
            except Empty:
                future, silent, most = None, silent + _POLL_SECONDS, self._most_pending()
            if future in pending:
                yield *pending.pop(future), self._answer_of(future)
            elif silent >= self.job_timeout:
                self.client.cancel(list(pending))
                yield from ((*job, None) for job in pending.values())
                pending, silent = {}, 0.0

    def _most_pending(self) -> int:
        """How many jobs to submit ahead, once there is a worker to do them."""
        self._require_cluster()
        try:
            self.client.wait_for_workers(1, timeout=self.worker_timeout)
        except TimeoutError:
            raise UsageError(
                f"--scheduler: the cluster has had no worker for {self.worker_timeout:.0f} seconds; "
                "finished answers are in the cache."
            ) from None
        return max(_JOBS_PER_THREAD * sum(self.client.nthreads().values()), 1)

    def _require_cluster(self) -> None:
        if self.client.status != "running":
            raise UsageError("--scheduler: the cluster is gone; finished answers are in the cache.")

    def _answer_of(self, future: Any) -> Answer | None:
        """The answer, or None where Dask has given the job up or it took too long."""
        from concurrent.futures import CancelledError

        from distributed.scheduler import KilledWorker

        try:
            answer: Answer = future.result(timeout=self.job_timeout)
        except (KilledWorker, CancelledError, TimeoutError):
            self._require_cluster()  # A lost scheduler cancels every job; that says nothing about them.
            return None
        return answer


@contextmanager
def open_executor(*, workers: int | None = None, scheduler: str | None = None) -> Iterator[Executor]:
    """This machine's cores, or the cluster of a Dask scheduler.

    Parameters
    ----------
    workers : processes on this machine; None = one per core
    scheduler : address such as tcp://127.0.0.1:8786; None = this machine

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
