"""Hard trials of the safe write, in a process of their own: kills, crowds, full disks, locked folders.

`python -m tests.storage_trials kills 60` prints what it saw; it exits with an error when a row is lost.
"""

import os
import random
import resource
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from forecast.errors import InputError
from forecast.files.csv_file import parse_csv
from forecast.files.storage import HISTORY, MOST_VERSIONS, append_row
from forecast.files.tables import table_schema

LOG = table_schema("log")
NOBODY = 65534


def _row(note: str) -> dict[str, str]:
    return {"date": "2026-03-02", "hours": "1.5", "note": note}


def _begin(folder: Path, rows: int) -> Path:
    path = folder / "log.csv"
    text = "date,weather,hours,note\r\n" + "".join(
        f'2026-03-01,sun,2,"row {i},\nsecond line"\r\n' for i in range(rows)
    )
    path.write_bytes(text.encode())
    return path


def _forked(work: Callable[[], None]) -> int:
    child = os.fork()
    if child == 0:
        code = 1
        try:
            work()
            code = 0
        except (AssertionError, InputError, OSError, LookupError) as error:
            sys.stderr.write(f"{type(error).__name__}: {error}\n")
        finally:
            os._exit(code)
    return child


def kills(times: int, seed: int = 0) -> str:
    """Kill a writer `times` times at random moments: the file is the old one or a new one, whole."""
    rng = random.Random(seed)
    with tempfile.TemporaryDirectory() as place:
        path = _begin(Path(place), rows=300)
        inside = 0
        for _ in range(times):
            before = path.read_bytes()
            child = _forked(
                lambda: [append_row(path, LOG, _row(f"n {i}")) for i in range(1_000_000)] and None
            )
            time.sleep(rng.uniform(0.0, 0.02))
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            after = path.read_bytes()
            more = after.removeprefix(before)
            assert after.startswith(before), "rows that were there are gone"
            assert more == b"".join(b"2026-03-02,,1.5,n %d\r\n" % i for i in range(more.count(b"\r\n"))), more
            inside += any(Path(place).rglob("*.new"))
        append_row(path, LOG, _row("last"))
        assert path.read_bytes().endswith(b"last\r\n")
        assert not list(Path(place).glob(".*.new"))
    return f"{times} kills, {inside} of them in the middle of a write"


def crowd(writers: int, rows: int) -> str:
    """Many processes add rows to one file at once: every row is there, once."""
    with tempfile.TemporaryDirectory() as place:
        path = _begin(Path(place), rows=1)
        begun = time.perf_counter()
        children = [
            _forked(lambda w=w: [append_row(path, LOG, _row(f"{w} {i}")) for i in range(rows)] and None)
            for w in range(writers)
        ]
        assert all(os.waitpid(child, 0)[1] == 0 for child in children), "a writer failed"
        notes = [r[3] for r in parse_csv(path.read_bytes(), "log.csv", LOG.columns).rows]
        assert sorted(notes[1:]) == sorted(f"{w} {i}" for w in range(writers) for i in range(rows))
        kept = list((Path(place) / HISTORY / "log.csv").iterdir())
        assert len(kept) == min(MOST_VERSIONS, writers * rows), len(kept)
        seconds = time.perf_counter() - begun
    return f"{writers * rows} rows by {writers} writers in {seconds:.1f} s"


def full_disk() -> str:
    """A disk that takes only part of the new file: a sentence, and the old file."""
    with tempfile.TemporaryDirectory() as place:
        path = _begin(Path(place), rows=2000)
        before = path.read_bytes()

        def write() -> None:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 4, len(before) + 4))
            _refused(path, "File too large")

        assert os.waitpid(_forked(write), 0)[1] == 0
        assert path.read_bytes() == before
        assert [p.name for p in Path(place).iterdir() if p.name != HISTORY] == ["log.csv"]
    return "a full disk refused, the file as it was"


def locked_folder() -> str:
    """A folder, and then a file, that the builder may only read: a sentence, and the old file."""
    place = Path(tempfile.mkdtemp())
    path = _begin(place, rows=3)
    append_row(path, LOG, _row("x"))
    before = path.read_bytes()
    place.chmod(0o555)
    _as_nobody(lambda: _refused(path, "Permission denied"))
    for folder in (place, place / HISTORY, place / HISTORY / "log.csv"):
        folder.chmod(0o777)
    (place / HISTORY / "lock").chmod(0o666)
    path.chmod(0o444)
    _as_nobody(lambda: _refused(path, "Permission denied"))
    assert path.read_bytes() == before
    return "a folder and a file for reading only refused"


def _as_nobody(work: Callable[[], None]) -> None:
    def without_rights() -> None:
        if os.geteuid() == 0:
            os.setgid(NOBODY)
            os.setuid(NOBODY)
        work()

    assert os.waitpid(_forked(without_rights), 0)[1] == 0


def _refused(path: Path, reason: str) -> None:
    said = "the write went through"
    try:
        append_row(path, LOG, _row("x"))
    except InputError as error:
        said = str(error)
    assert f"could not be written and is unchanged: {reason}" in said, said


TRIALS = {"kills": kills, "crowd": crowd, "full_disk": full_disk, "locked_folder": locked_folder}

if __name__ == "__main__":
    sys.stdout.write(TRIALS[sys.argv[1]](*map(int, sys.argv[2:])) + "\n")
