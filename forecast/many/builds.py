"""Many builds: checked and read here, forecast by workers, answers cached as they come."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from threading import Lock
from typing import Any

from forecast.errors import InputError
from forecast.files.folder import check_build
from forecast.learn.pooled_priors import priors_text
from forecast.many.answer import BuildAnswer
from forecast.many.answer_cache import AnswerCache, digest_of, digest_of_files
from forecast.many.executors import Executor
from forecast.many.job import Job, run_job, seed_of_build, without_words
from forecast.many.summary import BuildSummary
from forecast.simulate.settings import Settings

# Part of every digest: increase it when forecasts change, so that cached answers are not used any more.
_FORECAST_VERSION = 1


@dataclass(kw_only=True)
class ManyBuilds:
    """Many builds and their answers, of which only a few are in memory at any time.

    Parameters
    ----------
    folders : of the builds, without repetition
    as_of : the last day that counts
    today : a row dated later is a problem
    settings : runs, seed and priors; each build's own seed is derived from this one
    cache : where answers are stored
    with_summaries : whether to store what pooled priors need

    Examples
    --------
    >>> import tempfile
    >>> from forecast.files.folder import start_build
    >>> from forecast.many.executors import LocalExecutor
    >>> with tempfile.TemporaryDirectory() as place:
    ...     _ = start_build(Path(place) / "kit")
    ...     many = ManyBuilds(folders=[Path(place) / "kit", Path(place) / "none"],
    ...                       as_of=date(2026, 11, 30), today=date(2026, 11, 30),
    ...                       settings=Settings(runs=50), cache=AnswerCache(Path(place) / "cache"))
    ...     many.run(LocalExecutor(workers=1))
    ...     [answer.problems[0][-16:] if answer.problems else "read" for answer in many]
    ['read', 'is not a folder.']
    """

    folders: Sequence[Path]
    as_of: date
    today: date
    settings: Settings
    cache: AnswerCache
    with_summaries: bool = False
    failed: dict[int, BuildAnswer] = field(default_factory=dict)

    def run(self, executor: Executor, on_progress: Callable[[int, int], None] | None = None) -> None:
        """Forecast the builds without a cached answer; failures go to `failed` and stop no other build.

        Parameters
        ----------
        executor : where the jobs run
        on_progress : called with (builds done, builds in all)
        """
        progress = _Progress(len(self.folders), on_progress)
        submitted: dict[int, _Submitted] = {}
        for number, answer in executor.run(run_job, self._jobs(submitted, progress)):
            folder, job = self.folders[number], submitted.pop(number)
            if "failed" in answer:
                sentence = f"{folder.name}: {answer['failed']}."
                self.failed[number] = BuildAnswer(folder=str(folder), name=job.name, problems=(sentence,))
            else:
                for task in answer["held_by"]["tasks"]:
                    task["title"] = job.titles[task["task"]]
                self.cache.store(folder, job.digest, {"name": job.name} | answer)
            progress.advance()

    def __iter__(self) -> Iterator[BuildAnswer]:
        """The answers in the order of `folders`, each read from the cache when its turn comes."""
        for number, folder in enumerate(self.folders):
            if number in self.failed:
                yield self.failed[number]
                continue
            answer = self._cached(folder)
            yield BuildAnswer(folder=str(folder), name=answer["name"], answer=answer)

    def summaries(self) -> Iterator[BuildSummary]:
        """What each build contributes to pooled priors."""
        for number, folder in enumerate(self.folders):
            if number not in self.failed:
                yield BuildSummary.from_dict(self._cached(folder)["summary"])

    def _cached(self, folder: Path) -> dict[str, Any]:
        answer = self.cache.load(folder)
        if answer is None:
            raise RuntimeError(f"The cached answer for {folder} was deleted while it was needed.")
        return answer

    def _jobs(self, submitted: dict[int, _Submitted], progress: _Progress) -> Iterator[tuple[int, bytes]]:
        """Jobs for the builds without a cached answer; unreadable builds go to `failed`."""
        for number, folder in enumerate(self.folders):
            try:
                job = self._job(folder)
            except (InputError, OSError) as error:
                self.failed[number] = _unreadable(folder, error)
                job = None
            if job is None:
                progress.advance()
                continue
            submitted[number], data = job
            yield number, data

    def _job(self, folder: Path) -> tuple[_Submitted, bytes] | None:
        """The job of one build, or None if its answer is in the cache."""
        files = digest_of_files(folder)
        digest = digest_of(files, _FORECAST_VERSION, self.as_of, *_settings_key(self.settings))
        cached = self.cache.load(folder, digest)
        if cached is not None and (not self.with_summaries or "summary" in cached):
            return None
        build = check_build(folder, self.today)
        titles = {t.task: t.title or t.task for t in build.plan.tasks}
        job = Job(
            build=without_words(build),
            as_of=self.as_of,
            settings=replace(self.settings, seed=seed_of_build(self.settings.seed, files)),
            with_summary=self.with_summaries,
        )
        return _Submitted(digest, build.name, titles), job.packed()


@dataclass(frozen=True)
class _Submitted:
    """What stays here while a build's job is away: the words of its builder, and the cache digest."""

    digest: str
    name: str
    titles: dict[str, str]


@dataclass
class _Progress:
    total: int
    on_progress: Callable[[int, int], None] | None
    done: int = 0
    lock: Lock = field(default_factory=Lock)

    def advance(self) -> None:
        with self.lock:  # joblib reads folders in one thread and returns answers in another
            self.done += 1
            done = self.done
        if self.on_progress is not None:
            self.on_progress(done, self.total)


def distinct(folders: Sequence[Path]) -> list[Path]:
    """The folders in their order without repetition, however their paths are written.

    Examples
    --------
    >>> [str(folder) for folder in distinct([Path("kit"), Path("./kit"), Path("other/../kit")])]
    ['kit']
    """
    first: dict[Path, Path] = {}
    for folder in folders:
        first.setdefault(folder.resolve(), folder)
    return list(first.values())


def _settings_key(settings: Settings) -> tuple[object, ...]:
    priors = "" if settings.priors is None else priors_text(settings.priors)
    return settings.runs, settings.seed, settings.horizon_years, priors


def _unreadable(folder: Path, error: InputError | OSError) -> BuildAnswer:
    if isinstance(error, InputError):
        problems = tuple(str(p) for p in error.problems)
    else:
        problems = (f"{folder}: could not be read: {error}.",)
    return BuildAnswer(folder=str(folder), name=folder.name, problems=problems)
