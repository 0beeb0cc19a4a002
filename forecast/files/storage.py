"""Writing a builder's file: whole or not at all, one writer at a time, the version before kept.

A write takes the folder's lock, puts the whole new text into a temporary file beside the old one, has
the disk confirm it, keeps a copy of the old one in `.history/`, and only then changes the name over: at
every moment the file is the old one or the new one. A version in `.history/` is named
`000012-DIGEST.csv`: its number in the order of all changes of the folder, and the beginning of the
SHA-256 digest of what replaced it, so that `undo` never takes back over a change by another program.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from filelock import FileLock, Timeout

from forecast.errors import InputError, Problem
from forecast.files.csv_file import format_record, parse_csv, with_record
from forecast.files.fields import TableSchema

HISTORY = ".history"
KEPT_VERSIONS = 50
WAIT_SECONDS = 30.0
_TRIES = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Undone:
    """What `undo` did: the lines that went and the lines that came back."""

    file: str
    gone: tuple[str, ...]
    back: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """The same in words."""
        words = [*_few("took out", self.gone), *_few("put back", self.back)]
        return f"{self.file}: {'; '.join(words)}. Undo once more to have it as it was before."


def write_file(path: Path, data: bytes, *, keep_version: bool = True) -> None:
    """Make `data` the content of a file of a build folder, or leave the file as it is.

    Raises
    ------
    InputError in one sentence when it cannot be written; then nothing has changed.
    """
    change_file(path, lambda _: data, keep_version=keep_version)


def write_atomically(path: Path, data: bytes) -> None:
    """Make `data` the content of a file that belongs to no build folder: no lock, no earlier version.

    Raises
    ------
    InputError in one sentence when it cannot be written; then nothing has changed.
    """
    target = path.resolve()
    try:
        temporary = _temporary_beside(target, data)
        try:
            os.replace(temporary, target)
        finally:
            temporary.unlink(missing_ok=True)
        _confirm_names(target.parent)
    except OSError as error:
        raise _refused(
            str(path), f"could not be written, and is as it was: {error.strerror or error}"
        ) from None


def append_row(
    path: Path,
    schema: TableSchema,
    row: dict[str, str],
    *,
    after_line: int | None = None,
    check: Callable[[bytes, int], None] | None = None,
    keep_version: bool = True,
) -> int:
    """Add one row to a CSV file of a build folder, and the line on which it stands.

    Columns unknown to the schema, the order of the columns, separator, line endings, byte order mark and
    file mode stay as they are; a missing file is made. Two writers wait for each other.

    Parameters
    ----------
    path : the file, directly in the build folder or in its folder log/
    row : texts by column, with a point before decimals; a column left out is blank
    after_line : the row comes after the record that begins here; at the end if None
    check : called with the new content and the line of the row; what it raises keeps the file as it is
    keep_version : whether the version before goes into `.history/`, where `undo` finds it

    Raises
    ------
    InputError in one sentence when it cannot be written; then nothing has changed.
    """
    line = 0

    def added(data: bytes) -> bytes:
        nonlocal line
        values = _as_the_file_writes(data, path.name, schema, row)
        new, line = with_record(data, path.name, schema.columns, values, after_line=after_line)
        if check is not None:
            check(new, line)
        return new

    if not path.exists():
        added(_header(schema))
        change_file(path, lambda data: data or _header(schema), keep_version=False)
    change_file(path, added, keep_version=keep_version)
    return line


def change_file(path: Path, change: Callable[[bytes], bytes], *, keep_version: bool = True) -> None:
    """Read a file of a build folder, change its content and write it, while no other writer may.

    `change` gets b"" for a file that is not there. It is called again when another program changed the
    file in the meantime.
    """
    folder = build_folder_of(path)
    name = str(path.relative_to(folder))
    with _writing(folder, name):
        _refuse_open_in_spreadsheet(path, name)
        for _ in range(_TRIES):
            before = _content(path)
            after = change(before)
            if after == before or _commit(folder, path, before, after, keep_version=keep_version):
                return
    raise _refused(name, "is being changed by another program again and again: close it there first")


def undo(folder: Path) -> Undone:
    """Take the last change of a build folder back; called again, it takes the taking back back.

    Raises
    ------
    InputError when there is nothing to take back, or another program has changed the file since.
    """
    with _writing(folder, HISTORY):
        for version in sorted(_versions(folder), reverse=True):
            path = folder / version.file
            _refuse_open_in_spreadsheet(path, version.file)
            earlier, current = version.path.read_bytes(), _content(path)
            never_happened = earlier == current and version.replaced_by != _digest(current)
            if never_happened:
                continue
            if version.replaced_by == _digest(current) and _commit(
                folder, path, current, earlier, keep_version=True
            ):
                return _undone(version.file, current, earlier)
            place = version.path.relative_to(folder)
            sentence = "was changed by another program since, so nothing was taken back"
            raise _refused(version.file, f"{sentence}; the version before is {place}")
    raise _refused(str(folder), "holds no change to take back")


def build_folder_of(path: Path) -> Path:
    """The build folder of one of its files: the folder it lies in, or the one above log/."""
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
def _writing(folder: Path, name: str) -> Iterator[None]:
    """Hold the folder's lock; say in one sentence what keeps a file from being written."""
    try:
        (folder / HISTORY).mkdir(exist_ok=True)
        with FileLock(folder / HISTORY / "lock", timeout=WAIT_SECONDS, poll_interval=0.01):
            yield
    except Timeout:
        sentence = f"is being written by another program for more than {WAIT_SECONDS:g} seconds: try again"
        raise _refused(name, sentence) from None
    except OSError as error:
        raise _refused(name, f"could not be written, and is as it was: {error.strerror or error}") from None


def _commit(folder: Path, path: Path, before: bytes, after: bytes, *, keep_version: bool) -> bool:
    """Replace the file by `after`, or say that it is no longer `before`."""
    target = path.resolve()
    temporary = _temporary_beside(target, after)
    try:
        if keep_version:
            _keep(folder, str(path.relative_to(folder)), before, after)
        if _content(path) != before:
            return False
        os.replace(temporary, target)
    finally:
        temporary.unlink(missing_ok=True)
    _confirm_names(target.parent)
    return True


def _temporary_beside(target: Path, data: bytes) -> Path:
    """A file with the content and the mode that `target` is to have, confirmed by the disk."""
    for left_over in target.parent.glob(f".{_escaped(target.name)}.*.new"):
        left_over.unlink(missing_ok=True)
    temporary = target.with_name(f".{target.name}.{os.getpid()}.new")
    try:
        with temporary.open("xb") as file:
            file.write(data)
            file.flush()
            if target.exists():
                _keep_mode_and_owner(file.fileno(), target)
            os.fsync(file.fileno())
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return temporary


def _keep_mode_and_owner(descriptor: int, target: Path) -> None:
    status = target.stat()
    if not os.access(target, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    if hasattr(os, "fchmod"):
        os.fchmod(descriptor, stat.S_IMODE(status.st_mode))
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        os.fchown(descriptor, status.st_uid, status.st_gid)


def _keep(folder: Path, file: str, before: bytes, after: bytes) -> None:
    """Put the version before into `.history/`, and let go of the oldest ones of this file."""
    place = folder / HISTORY / file
    place.mkdir(parents=True, exist_ok=True)
    versions = _versions(folder)
    number = 1 + max((v.number for v in versions), default=0)
    kept = place / f"{number:06d}-{_digest(after)}{Path(file).suffix}"
    for left_over in place.glob(".*.new"):
        left_over.unlink(missing_ok=True)
    os.replace(_temporary_beside(kept, before), kept)
    _confirm_names(place)
    for version in sorted(v for v in versions if v.file == file)[: -(KEPT_VERSIONS - 1)]:
        version.path.unlink(missing_ok=True)


def _confirm_names(folder: Path) -> None:
    """Have the disk confirm the names in a folder, where the system can."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        # Some network drives cannot do this for a folder; the file itself is confirmed already.
        if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EBADF):
            raise
    finally:
        os.close(descriptor)


def _content(path: Path) -> bytes:
    return path.read_bytes() if path.exists() else b""


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:16]


def _escaped(name: str) -> str:
    return "".join(f"[{c}]" if c in "*?[" else c for c in name)


def _header(schema: TableSchema) -> bytes:
    return (format_record(schema.columns, ",") + "\n").encode()


def _as_the_file_writes(data: bytes, name: str, schema: TableSchema, row: dict[str, str]) -> dict[str, str]:
    """The texts of a row, with decimal commas where the numbers of the file have them."""
    read = parse_csv(data, name, schema.columns)
    numbers = [f.name for f in schema.fields if f.kind in ("number", "hours")]
    places = [i for i, column in enumerate(read.header) if column.casefold() in numbers]
    cells = [cells[i] for cells in read.rows for i in places]
    if read.separator == "," or not any("," in c for c in cells) or any("." in c for c in cells):
        return row
    return {c: text.replace(".", ",") if c in numbers else text for c, text in row.items()}


def _undone(file: str, current: bytes, earlier: bytes) -> Undone:
    def lines(data: bytes) -> list[str]:
        return data.decode("utf-8", errors="replace").splitlines()

    now, then = lines(current), lines(earlier)
    same = _same_beginning(now, then)
    ends = _same_beginning(now[same:][::-1], then[same:][::-1])
    return Undone(
        file=file, gone=tuple(now[same : len(now) - ends]), back=tuple(then[same : len(then) - ends])
    )


def _few(what: str, lines: tuple[str, ...]) -> list[str]:
    more = [f"and {len(lines) - 3} more"] if len(lines) > 3 else []
    return [f"{what} {'; '.join([*lines[:3], *more])}"] if lines else []


def _same_beginning(a: list[str], b: list[str]) -> int:
    return next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))


def _refuse_open_in_spreadsheet(path: Path, name: str) -> None:
    """A spreadsheet that has the file open would write its own old rows over ours."""
    for lock in (path.with_name(f".~lock.{path.name}#"), path.with_name(f"~${path.name}")):
        if lock.exists():
            raise _refused(name, f"is open in a spreadsheet: close it there first ({lock.name} goes then)")


def _refused(name: str, sentence: str) -> InputError:
    return InputError([Problem(name, None, "", "", sentence)])
