"""Writing a builder's file: completely or not at all, one writer at a time, the previous version kept.

A write takes the folder's lock, writes the new content to a temporary file beside the old one, flushes it to
disk, copies the old content into `.history/`, and only then renames: at every moment the file is the old one
or the new one. A version in `.history/` is named `000012-DIGEST.csv`: the number of the change within the
folder, and the beginning of the SHA-256 digest of what replaced it, so that `undo` never overwrites a change
by another program.
"""

from __future__ import annotations

import contextlib
import errno
import glob
import hashlib
import os
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from filelock import FileLock, Timeout

from forecast.errors import InputError, first_few
from forecast.files.csv_file import format_record, parse_csv, with_records
from forecast.files.fields import TableSchema

HISTORY = ".history"
MOST_VERSIONS = 50  # per file; judgement: more than one evening's changes
WAIT_SECONDS = 30.0  # judgement: far longer than a write takes, short enough to wait for an answer
_MOST_TRIES = 5  # a file that changes during five writes in a row is being written by a program


@dataclass(frozen=True, slots=True, kw_only=True)
class UndoneChange:
    """What `undo` did to a file: the lines it removed and the lines it restored."""

    file: str
    removed: tuple[str, ...]
    restored: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """The same in words."""
        words = [("removed", self.removed), ("restored", self.restored)]
        did = "; ".join(f"{verb} {first_few(lines, most=3)}" for verb, lines in words if lines)
        return f"{self.file}: {did}. Undo again to redo it."


def write_atomically(path: Path, data: bytes) -> None:
    """Replace the content of a file outside any build folder: no lock, no earlier version.

    Parameters
    ----------
    path : the file; a missing one is created
    data : its new content

    Raises
    ------
    InputError : when it cannot be written; nothing has changed then
    """
    try:
        _replace(path.resolve(), data)
    except OSError as error:
        raise _not_written(str(path), error) from None


def append_row(
    path: Path,
    schema: TableSchema,
    row: dict[str, str],
    *,
    after_line: int | None = None,
    check: Callable[[bytes, int], None] | None = None,
    keep_version: bool = True,
) -> int:
    """Add one row to a CSV file of a build folder.

    Unknown columns, column order, separator, line endings, byte order mark and file mode stay as they are; a
    missing file is created. Concurrent writers wait for each other.

    Parameters
    ----------
    path : the file, in the build folder itself or in its folder log/
    schema : schema of the table
    row : texts by column, with a decimal point; columns left out are blank
    after_line : first line of the row to insert after; None to append
    check : called with the new content and the line of the row; an exception from it cancels the write
    keep_version : whether `.history/` gets the previous version, so that `undo` can restore it

    Returns
    -------
    The line of the new row.

    Raises
    ------
    InputError : when it cannot be written; nothing has changed then
    """
    line = 0

    def added(data: bytes) -> bytes:
        nonlocal line
        cells = _in_decimal_style(data, path.name, schema, row)
        new, line = with_records(data, path.name, schema.columns, [cells], after_line=after_line)
        if check is not None:
            check(new, line)
        return new

    if not path.exists():
        header = (format_record(schema.columns, ",") + "\n").encode()
        added(header)  # a row that is refused must not leave an empty file behind
        change_file(path, lambda data: data or header, keep_version=False)
    change_file(path, added, keep_version=keep_version)
    return line


def change_file(path: Path, change: Callable[[bytes], bytes], *, keep_version: bool = True) -> None:
    """Change the content of a file of a build folder while no other writer may.

    Parameters
    ----------
    path : the file, in the build folder itself or in its folder log/
    change : old content (b"" for a missing file) -> new content; called again when another program has
        changed the file in the meantime
    keep_version : whether `.history/` gets the previous version, so that `undo` can restore it

    Raises
    ------
    InputError : when it cannot be written; nothing has changed then
    """
    folder = build_folder_of(path)
    name = str(path.relative_to(folder))
    with _locked(folder, name):
        _refuse_open_in_spreadsheet(path, name)
        for _ in range(_MOST_TRIES):
            before = _content(path)
            after = change(before)
            if after == before or _commit(folder, path, before, after, keep_version=keep_version):
                return
    raise InputError.about(name, "keeps being changed by another program: close it there first")


def undo(folder: Path) -> UndoneChange:
    """Undo the last change of a build folder; called again, redo it.

    Raises
    ------
    InputError : when there is nothing to undo, or another program has changed the file since
    """
    with _locked(folder, HISTORY):
        for version in sorted(_versions(folder), reverse=True):
            path = folder / version.file
            _refuse_open_in_spreadsheet(path, version.file)
            earlier, current = version.path.read_bytes(), _content(path)
            is_current = version.replaced_by == _digest(current)
            if earlier == current and not is_current:
                continue  # the write that stored this version never got as far as the file
            if is_current and _commit(folder, path, current, earlier, keep_version=True):
                return _undone(version.file, current, earlier)
            sentence = "has been changed by another program since, so nothing was undone"
            place = version.path.relative_to(folder)
            raise InputError.about(version.file, f"{sentence}; the version before the change is {place}")
    raise InputError.about(str(folder), "has no change to undo")


def build_folder_of(path: Path) -> Path:
    """The build folder that a file belongs to: its own folder, or the one above log/."""
    in_log = path.parent.name == "log" and not (path.parent / "build.toml").exists()
    return path.parent.parent if in_log else path.parent


@dataclass(frozen=True, slots=True, order=True)
class _Version:
    """An earlier version of one file."""

    number: int
    file: str
    replaced_by: str
    path: Path


def _versions(folder: Path) -> list[_Version]:
    found = []
    for path in (folder / HISTORY).rglob("*"):
        number, dash, digest = path.stem.partition("-")
        if dash and number.isdigit() and path.is_file():
            file = str(path.parent.relative_to(folder / HISTORY))
            found.append(_Version(int(number), file, digest, path))
    return found


@contextlib.contextmanager
def _locked(folder: Path, name: str) -> Iterator[None]:
    """Hold the folder's lock, and report what keeps the file `name` from being written."""
    try:
        (folder / HISTORY).mkdir(exist_ok=True)
        with FileLock(folder / HISTORY / "lock", timeout=WAIT_SECONDS, poll_interval=0.01):
            yield
    except Timeout:
        sentence = f"has been locked by another program for more than {WAIT_SECONDS:g} seconds: try again"
        raise InputError.about(name, sentence) from None
    except OSError as error:
        raise _not_written(name, error) from None


def _not_written(name: str, error: OSError) -> InputError:
    return InputError.about(name, f"could not be written and is unchanged: {error.strerror or error}")


def _commit(folder: Path, path: Path, before: bytes, after: bytes, *, keep_version: bool) -> bool:
    """Replace the file by `after`, or return False if it is no longer `before`."""
    target = path.resolve()
    with _temporary_beside(target, after) as temporary:
        if keep_version:
            _store_version(folder, str(path.relative_to(folder)), before, after)
        if _content(path) != before:
            return False
        os.replace(temporary, target)
    _sync_folder(target.parent)
    return True


def _replace(target: Path, data: bytes) -> None:
    with _temporary_beside(target, data) as temporary:
        os.replace(temporary, target)
    _sync_folder(target.parent)


@contextlib.contextmanager
def _temporary_beside(target: Path, data: bytes) -> Iterator[Path]:
    """A temporary file, flushed to disk, with the content and the mode that `target` is to have."""
    for left_over in target.parent.glob(f".{glob.escape(target.name)}.*.new"):
        left_over.unlink(missing_ok=True)
    temporary = target.with_name(f".{target.name}.{os.getpid()}.new")
    try:
        with temporary.open("xb") as file:
            file.write(data)
            file.flush()
            if target.exists():
                _copy_mode_and_owner(file.fileno(), target)
            os.fsync(file.fileno())
        yield temporary
    finally:
        temporary.unlink(missing_ok=True)


def _copy_mode_and_owner(descriptor: int, target: Path) -> None:
    status = target.stat()
    if not os.access(target, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    if hasattr(os, "fchmod"):
        os.fchmod(descriptor, stat.S_IMODE(status.st_mode))
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        os.fchown(descriptor, status.st_uid, status.st_gid)


def _store_version(folder: Path, file: str, before: bytes, after: bytes) -> None:
    """Store the previous version in `.history/`, and delete the oldest versions of this file."""
    place = folder / HISTORY / file
    place.mkdir(parents=True, exist_ok=True)
    versions = _versions(folder)
    number = 1 + max((v.number for v in versions), default=0)
    for left_over in place.glob(".*.new"):
        left_over.unlink(missing_ok=True)
    _replace(place / f"{number:06d}-{_digest(after)}{Path(file).suffix}", before)
    for version in sorted(v for v in versions if v.file == file)[: -(MOST_VERSIONS - 1)]:
        version.path.unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    """Flush the names in a folder to disk, where the system can."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        # Some network drives cannot do this for a folder; the file itself is on disk already.
        if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EBADF):
            raise
    finally:
        os.close(descriptor)


def _content(path: Path) -> bytes:
    return path.read_bytes() if path.exists() else b""


def _digest(data: bytes) -> str:
    # 64 of 256 bits: enough to tell the versions of one folder apart, and short enough for a file name.
    return hashlib.sha256(data).hexdigest()[:16]


def _in_decimal_style(data: bytes, name: str, schema: TableSchema, row: dict[str, str]) -> dict[str, str]:
    """The texts of a row, with decimal commas where the numbers of the file have them."""
    read = parse_csv(data, name, schema.columns)
    numbers = [f.name for f in schema.fields if f.kind in ("number", "hours")]
    places = [i for i, column in enumerate(read.header) if column.casefold() in numbers]
    cells = [cells[i] for cells in read.rows for i in places]
    if read.separator == "," or not any("," in c for c in cells) or any("." in c for c in cells):
        return row
    return {c: text.replace(".", ",") if c in numbers else text for c, text in row.items()}


def _undone(file: str, current: bytes, earlier: bytes) -> UndoneChange:
    """The differing lines between what is equal at the start and at the end of both versions."""
    now, then = (d.decode("utf-8", errors="replace").splitlines() for d in (current, earlier))
    same = len(os.path.commonprefix([now, then]))
    ends = len(os.path.commonprefix([now[same:][::-1], then[same:][::-1]]))
    removed, restored = (tuple(lines[same : len(lines) - ends]) for lines in (now, then))
    return UndoneChange(file=file, removed=removed, restored=restored)


def _refuse_open_in_spreadsheet(path: Path, name: str) -> None:
    """A spreadsheet that has the file open would overwrite the new row with its own old content."""
    for lock in (path.with_name(f".~lock.{path.name}#"), path.with_name(f"~${path.name}")):
        if lock.exists():
            sentence = f"is open in a spreadsheet: close it there first (which removes {lock.name})"
            raise InputError.about(name, sentence)
