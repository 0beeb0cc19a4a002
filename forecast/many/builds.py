"""Many builds: checked and read here, fitted and played by workers, answers kept as they come."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from threading import Lock
from typing import Any

from forecast.errors import InputError
from forecast.files.folder import Build, check_build
from forecast.learn.pooled_priors import PooledPriors, priors_text
from forecast.many.answer import BuildAnswer
from forecast.many.answer_cache import AnswerCache, digest_of, digest_of_files
from forecast.many.executors import LocalExecutor
from forecast.many.job import Job, run_job, seed_of_build, without_words
from forecast.many.summary import BuildSummary
from forecast.simulate.settings import Settings

# Kept answers are done again when this changes: count it up when a forecast changes its meaning.
_MEANING = 1


@dataclass(kw_only=True)
class ManyBuilds:
    """Many builds and their answers; at no time are more than a few of them in memory.

    Parameters
    ----------
    folders : of the builds, each once
    as_of : the last day that counts
    today : what lies after it in a folder is a problem
    settings : runs and seed; each build gets a seed of its own from it
    cache : where answers are kept
    learn : whether to keep what pooled priors need

    Examples
    --------
    >>> import tempfile
    >>> from forecast.files.folder import start_build
    >>> with tempfile.TemporaryDirectory() as place:
    ...     _ = start_build(Path(place) / "kit")
    ...     many = ManyBuilds(folders=[Path(place) / "kit", Path(place) / "none"], as_of=date(2026, 11, 30),
    ...                 today=date(2026, 11, 30), settings=Settings(runs=50),
    ...                 cache=AnswerCache(Path(place) / "kept"))
    ...     many.run(LocalExecutor(workers=1))
    ...     [answer.problems[0][-16:] if answer.problems else "read" for answer in many]
    ['read', 'is not a folder.']
    """

    folders: Sequence[Path]
    as_of: date
    today: date
    settings: Settings
    cache: AnswerCache
    learn: bool = False
    failed: dict[int, BuildAnswer] = field(default_factory=dict)

    def run(self, engine: LocalExecutor, on_progress: Callable[[int, int], None] | None = None) -> None:
        """Do what has no kept answer yet; a build that cannot be read or forecast stops no other."""
        done = _Counter(len(self.folders), on_progress)
        begun: dict[int, tuple[str, str, dict[str, str]]] = {}
        for number, answer in engine.run(run_job, self._jobs(begun, done)):
            digest, name, titles = begun.pop(number)
            folder = self.folders[number]
            if "failed" in answer:
                sentence = f"{folder.name}: {answer['failed']}."
                self.failed[number] = BuildAnswer(folder=str(folder), name=name, problems=(sentence,))
            else:
                for task in answer["held_by"]["tasks"]:
                    task["title"] = titles[task["task"]]
                self.cache.put(folder, digest, {"name": name} | answer)
            done.one_more()

    def __iter__(self) -> Iterator[BuildAnswer]:
        """The answers in the order of `folders`, each read when it is its turn."""
        for number, folder in enumerate(self.folders):
            if number in self.failed:
                yield self.failed[number]
                continue
            answer = self._kept(folder)
            yield BuildAnswer(folder=str(folder), name=answer["name"], answer=answer)

    def summaries(self) -> Iterator[BuildSummary]:
        """What each build says to pooled priors."""
        for number, folder in enumerate(self.folders):
            if number not in self.failed:
                yield BuildSummary.from_dict(self._kept(folder)["summary"])

    def to_dict(self) -> dict[str, Any]:
        """All answers as the contract's JSON."""
        return {"builds": [answer.to_dict() for answer in self]}

    def _kept(self, folder: Path) -> dict[str, Any]:
        answer = self.cache.get(folder)
        if answer is None:
            raise RuntimeError(f"The kept answer of {folder} went away while it was needed.")
        return answer

    def _jobs(
        self, begun: dict[int, tuple[str, str, dict[str, str]]], done: _Counter
    ) -> Iterator[tuple[int, bytes]]:
        """Jobs of the builds that have no kept answer; what cannot be read is noted."""
        for number, folder in enumerate(self.folders):
            try:
                files = digest_of_files(folder)
                digest = digest_of(files, _MEANING, self.as_of, *_asked(self.settings))
                if self._is_done(folder, digest):
                    done.one_more()
                    continue
                build = check_build(folder, self.today)
            except (InputError, OSError) as error:
                self.failed[number] = _unread(folder, error)
                done.one_more()
                continue
            begun[number] = digest, build.name, {t.task: t.title or t.task for t in build.plan.tasks}
            yield number, self._job(build, files).packed()

    def _is_done(self, folder: Path, digest: str) -> bool:
        answer = self.cache.get(folder, digest)
        return answer is not None and (not self.learn or "summary" in answer)

    def _job(self, build: Build, files: str) -> Job:
        seed = seed_of_build(self.settings.seed, files)
        return Job(
            build=without_words(build),
            as_of=self.as_of,
            settings=replace(self.settings, seed=seed),
            learn=self.learn,
        )


@dataclass
class _Counter:
    """How many builds are done, told to whoever looks."""

    total: int
    tell: Callable[[int, int], None] | None
    count: int = 0
    lock: Lock = field(default_factory=Lock)

    def one_more(self) -> None:
        # Folders are read in a thread of the engine, answers taken in another.
        with self.lock:
            self.count += 1
            count = self.count
        if self.tell is not None:
            self.tell(count, self.total)


def distinct(folders: Sequence[Path]) -> list[Path]:
    """The folders in their order, each once, however it is written."""
    first: dict[Path, Path] = {}
    for folder in folders:
        first.setdefault(folder.resolve(), folder)
    return list(first.values())


def _asked(settings: Settings) -> tuple[object, ...]:
    pooled: PooledPriors | None = settings.priors
    text = "" if pooled is None else priors_text(pooled)
    return settings.runs, settings.seed, settings.horizon_years, text


def _unread(folder: Path, error: Exception) -> BuildAnswer:
    if isinstance(error, InputError):
        problems = tuple(str(p) for p in error.problems)
    else:
        problems = (f"{folder}: could not be read: {error}.",)
    return BuildAnswer(folder=str(folder), name=folder.name, problems=problems)
