"""Open a foreign file by its content, not by its name."""

from __future__ import annotations

from pathlib import Path

from forecast.errors import InputError
from forecast.intake.readers.delimited import decode, read_delimited
from forecast.intake.readers.front_matter import is_front_matter, read_markdown
from forecast.intake.readers.workbook import is_zip, read_workbook
from forecast.intake.sheet_cells import MOST_BYTES, ReadFile

# The compound file of old spreadsheets, and of new ones that are encrypted.
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"


def read_foreign(path: Path | str) -> ReadFile:
    """Read an XLSX, ODS, CSV, TSV or Markdown file, or a folder of Markdown files.

    Raises
    ------
    InputError : when the file as a whole cannot be read
    """
    path = Path(path)
    try:
        if path.is_dir():
            return read_markdown(path)
        if not path.is_file():
            raise InputError.about(path.name, "does not exist")
        if path.stat().st_size > MOST_BYTES:
            sentence = f"is larger than {MOST_BYTES / 1e6:.0f} MB, which no build log needs"
            raise InputError.about(path.name, sentence)
        with path.open("rb") as file:
            head = file.read(4)
        if is_zip(head):
            return read_workbook(path)
        data = path.read_bytes()
    except OSError as error:
        raise InputError.about(path.name, f"could not be read: {error.strerror or error}") from None
    if data.startswith(_OLD_WORKBOOK):
        sentence = "is an old or a protected spreadsheet: save it again as XLSX or CSV"
        raise InputError.about(path.name, sentence)
    if not data.strip():
        raise InputError.about(path.name, "is empty")
    if is_front_matter(decode(data, path.name)[0]):
        return read_markdown(path)
    return read_delimited(data, path.name)
