"""Answers that are kept, one small JSON file a build, so that a run that was broken off goes on."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

from forecast.errors import InputError, Problem
from forecast.files.storage import write_atomically

_FILES = ("build.toml", "plan.csv", "log.csv", "deliveries.csv", "away.csv")


def digest_of(*parts: object) -> str:
    """A digest of everything that an answer depends on, by what it is when written out.

    >>> digest_of("files", 1) == digest_of("files", 1) != digest_of("files", 2)
    True
    """
    return hashlib.sha256(repr(parts).encode()).hexdigest()


def digest_of_files(folder: Path) -> str:
    """A digest of the files of a build folder; the ones that the program keeps there do not count."""
    whole = hashlib.sha256()
    for path in [*(folder / name for name in _FILES), *sorted((folder / "log").glob("*"))]:
        if path.is_file():
            data = path.read_bytes()
            whole.update(f"{path.relative_to(folder)}\0{len(data)}\0".encode() + data)
    return whole.hexdigest()


class AnswerCache:
    """A folder of answers, by build folder.

    Parameters
    ----------
    folder : made when it is not there

    Raises
    ------
    InputError when it cannot be made.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            sentence = f"could not be made: {error.strerror}; --keep names another folder"
            raise InputError([Problem(str(folder), None, "", "", sentence)]) from None

    def get(self, build: Path, digest: str | None = None) -> dict[str, Any] | None:
        """The answer of a build, or None when there is none or (given a digest) its files have changed."""
        try:
            record = json.loads(self._path(build).read_bytes())
            kept, answer = record["digest"], record["answer"]
        except (OSError, ValueError, KeyError, TypeError):
            return None  # nothing that can be used: it is done again
        return answer if digest in (None, kept) and isinstance(answer, dict) else None

    def put(self, build: Path, digest: str, answer: dict[str, Any]) -> None:
        """Keep an answer in place of an earlier one."""
        path = self._path(build)
        path.parent.mkdir(exist_ok=True)
        record = {"digest": digest, "answer": answer}
        write_atomically(path, json.dumps(record, ensure_ascii=False).encode())

    def _path(self, build: Path) -> Path:
        # By its whole path, in 256 folders: thousands of names in one folder are slow to look through.
        key = hashlib.sha256(str(build.resolve()).encode()).hexdigest()
        return self.folder / key[:2] / f"{key[2:26]}.json"
