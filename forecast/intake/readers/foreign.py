"""Open a foreign file by what it is, not by what it is called."""

from __future__ import annotations

from pathlib import Path

from forecast.errors import InputError, Problem
from forecast.intake.readers.delimited import decode, read_delimited
from forecast.intake.readers.front_matter import is_front_matter, read_markdown
from forecast.intake.readers.workbook import is_zip, read_workbook
from forecast.intake.sheet_cells import MOST_BYTES, ReadFile

_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"


def read_foreign(path: Path | str) -> ReadFile:
    """Read an XLSX, ODS, CSV, TSV or Markdown file, or a folder of Markdown files.

    Raises
    ------
    InputError in one sentence when the file as a whole cannot be read.
    """
    path = Path(path)
    try:
        if path.is_dir():
            return read_markdown(path)
        if not path.is_file():
            raise _refused(path, "is not there")
        if path.stat().st_size > MOST_BYTES:
            raise _refused(path, f"is larger than {MOST_BYTES / 1e6:.0f} MB: a build log is not")
        with path.open("rb") as file:
            head = file.read(4)
        if is_zip(head):
            return read_workbook(path)
        data = path.read_bytes()
    except OSError as error:
        raise _refused(path, f"could not be read: {error.strerror or error}") from None
    if data.startswith(_OLD_WORKBOOK):
        raise _refused(path, "is an old or a protected spreadsheet: save it again as XLSX or CSV")
    if not data.strip():
        raise _refused(path, "is empty")
    if is_front_matter(decode(data, path.name)[0]):
        return read_markdown(path)
    return read_delimited(data, path.name)


def _refused(path: Path, sentence: str) -> InputError:
    return InputError([Problem(path.name, None, "", "", sentence)])
