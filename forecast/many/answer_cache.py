"""Answers on disk, one small JSON file per build, so that an interrupted run can resume."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

from forecast.errors import InputError, Problem
from forecast.files.storage import write_atomically

_FILES = ("build.toml", "plan.csv", "log.csv", "deliveries.csv", "away.csv")


def digest_of(*parts: object) -> str:
    """A digest of everything that an answer depends on, from the `repr` of each part.

    Examples
    --------
    >>> digest_of("files", 1) == digest_of("files", 1) != digest_of("files", 2)
    True
    """
    return hashlib.sha256(repr(parts).encode()).hexdigest()


def digest_of_files(folder: Path) -> str:
    """A digest of a builder's own files; what the program stores beside them does not count."""
    digest = hashlib.sha256()
    for path in [*(folder / name for name in _FILES), *sorted((folder / "log").glob("*"))]:
        if path.is_file():
            data = path.read_bytes()
            digest.update(f"{path.relative_to(folder)}\0{len(data)}\0".encode() + data)
    return digest.hexdigest()


class AnswerCache:
    """A folder of answers, by build folder.

    Parameters
    ----------
    folder : created if it does not exist

    Raises
    ------
    InputError when it cannot be created.

    Examples
    --------
    >>> import tempfile
    >>> cache = AnswerCache(Path(tempfile.mkdtemp()))
    >>> cache.store(Path("kit"), "digest", {"runs": 40})
    >>> cache.load(Path("kit")), cache.load(Path("kit"), "of changed files")
    ({'runs': 40}, None)
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            sentence = f"could not be created: {error.strerror}; --cache names another folder"
            raise InputError([Problem(str(folder), None, "", "", sentence)]) from None

    def load(self, build: Path, digest: str | None = None) -> dict[str, Any] | None:
        """The cached answer of a build, or None.

        Parameters
        ----------
        build : its folder
        digest : what the answer must have been made from; None for any answer
        """
        try:
            record = json.loads(self._path(build).read_bytes())
            cached, answer = record["digest"], record["answer"]
        except (OSError, ValueError, KeyError, TypeError):
            return None  # missing or damaged: the build is forecast once more
        return answer if digest in (None, cached) and isinstance(answer, dict) else None

    def store(self, build: Path, digest: str, answer: dict[str, Any]) -> None:
        """Replace the cached answer of a build.

        Parameters
        ----------
        build : its folder
        digest : of everything that the answer was made from
        answer : plain values for JSON
        """
        path = self._path(build)
        path.parent.mkdir(exist_ok=True)
        record = {"digest": digest, "answer": answer}
        write_atomically(path, json.dumps(record, ensure_ascii=False).encode())

    def _path(self, build: Path) -> Path:
        # Spread over 256 folders: some file systems are slow with thousands of names in one.
        key = hashlib.sha256(str(build.resolve()).encode()).hexdigest()
        return self.folder / key[:2] / f"{key[2:26]}.json"
