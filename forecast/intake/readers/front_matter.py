"""Markdown files with front matter: one session per entry, with the keys of the front matter as headings.

Front matter written by hand is `key: value`, lists included, between two lines of `---` (or TOML between
`+++`). It is read as text and deliberately not by a YAML parser: YAML 1.1 reads `hours: 2:30` as the number
150 and `done: no` as false, and a small file can expand without bounds.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

from forecast.errors import InputError
from forecast.intake.readers.delimited import decode
from forecast.intake.sheet_cells import (
    MOST_COLUMNS,
    MOST_ROWS,
    ReadFile,
    Sheet,
    SheetRow,
    Unread,
    UnreadRecord,
)

# A longer "key" is a sentence with a colon.
_KEY = re.compile(r"([\w][\w .()/-]{0,60}?)\s*:(?:\s+(.*)|\s*)")
_OPENING = re.compile(r"([\w][\w .()/-]{0,60}?)\s*[:=]")
_ITEM = re.compile(r"\s*-\s+(.*)")
_HEADING = re.compile(r"#{1,6}\s+(.+)")
_COMMENT = re.compile(r"\s+#.*")
_MOST_FILE_BYTES = 5_000_000  # judgement: thousands of pages of text


def is_front_matter(text: str) -> bool:
    """Whether the first line that is not blank opens front matter.

    Examples
    --------
    >>> is_front_matter("---\\ndate: 2026-01-02\\n---\\n"), is_front_matter("date,hours\\n")
    (True, False)
    """
    return text.lstrip("\ufeff\n\r\t ").partition("\n")[0].rstrip() in ("---", "+++")


def read_markdown(path: Path) -> ReadFile:
    """Read the entries of one Markdown file, or of every `.md` file under a folder.

    Raises
    ------
    InputError : when there is nothing to read; an entry that cannot be read is in `ReadFile.unread`
    """
    files = sorted(p for p in path.rglob("*.md") if p.is_file()) if path.is_dir() else [path]
    if len(files) > MOST_ROWS:
        raise InputError.about(path.name, f"has more than {MOST_ROWS} files")
    entries: list[tuple[str, int, dict[str, str]]] = []
    unread: list[UnreadRecord] = []
    notices: list[str] = []
    for file in files:
        name = file.relative_to(path).as_posix() if path.is_dir() else file.name
        text, notice = _text(file, name)
        notices += [notice] if notice else []
        for line, entry in read_entries(text):
            if isinstance(entry, Unread):
                unread.append(UnreadRecord(file=name, line=line, value="", reason=entry.reason))
            else:
                entries.append((name, line, entry))
    if not entries and not unread:
        raise InputError.about(path.name, "has no Markdown entry with front matter")
    headings = tuple(dict.fromkeys(key for *_, entry in entries for key in entry))
    if len(headings) > MOST_COLUMNS:
        raise InputError.about(path.name, f"has more than {MOST_COLUMNS} different keys")
    rows = tuple(
        SheetRow(file=name, line=line, cells=tuple(entry.get(h) or None for h in headings))
        for name, line, entry in entries
    )
    sheet = Sheet(name="", rows=rows, headed=headings)
    return ReadFile(name=path.name, sheets=(sheet,), unread=tuple(unread), notices=tuple(notices))


def _text(file: Path, name: str) -> tuple[str, str]:
    try:
        if file.stat().st_size > _MOST_FILE_BYTES:
            raise InputError.about(name, "is larger than 5 MB, which no log entry needs")
        return decode(file.read_bytes(), name)
    except OSError as error:
        raise InputError.about(name, f"could not be read: {error.strerror or error}") from None


def read_entries(text: str) -> Iterator[tuple[int, dict[str, str] | Unread]]:
    """Every entry of a text: its first line, and its keys; the text below the front matter is `body`.

    Examples
    --------
    >>> list(read_entries("---\\ndate: 2026-01-02\\ntags: [ribs, tail]\\n---\\n# Ribs\\nDrilled six.\\n"))
    [(1, {'date': '2026-01-02', 'tags': 'ribs, tail', 'heading': 'Ribs', 'body': 'Drilled six.'})]
    """
    lines = text.lstrip("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    at = next((i for i, line in enumerate(lines) if line.strip()), len(lines))
    if at < len(lines) and lines[at].rstrip() not in ("---", "+++"):
        yield at + 1, Unread("does not begin with front matter between two lines of ---")
        return
    while at < len(lines):
        fence = lines[at].rstrip()
        end = next((i for i in range(at + 1, len(lines)) if lines[i].rstrip() == fence), None)
        if end is None:
            yield at + 1, Unread(f"opens front matter that no line of {fence} closes")
            return
        front = lines[at + 1 : end]
        following = _next_entry(lines, end + 1, {m[1] for m in map(_OPENING.match, front) if m})
        yield at + 1, _entry(front, fence, lines[end + 1 : following])
        at = following


def _next_entry(lines: list[str], start: int, keys: set[str]) -> int:
    """The line on which the next front matter opens: a fence, and directly below it a known key.

    A fence above anything else is a horizontal rule in the text.
    """
    for i in range(start, len(lines) - 1):
        opening = _OPENING.match(lines[i + 1])
        if lines[i].rstrip() in ("---", "+++") and opening and opening[1] in keys:
            return i
    return len(lines)


def _entry(front: list[str], fence: str, below: list[str]) -> dict[str, str] | Unread:
    found = _toml_keys(front) if fence == "+++" else _keys(front)
    if isinstance(found, Unread):
        return found
    heading = next((m[1] for m in map(_HEADING.fullmatch, below) if m), "")
    body = "\n".join(line for line in below if not _HEADING.fullmatch(line)).strip()
    both = {**found, **{k: v for k, v in (("heading", heading.strip()), ("body", body)) if k not in found}}
    return {key: text for key, text in both.items() if text} if found else Unread("is empty")


def _keys(front: list[str]) -> dict[str, str] | Unread:
    found: dict[str, str] = {}
    key = ""
    for number, line in enumerate(front, start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        opened, item = _KEY.fullmatch(line.rstrip()), _ITEM.fullmatch(line.rstrip())
        if opened and not line[0].isspace():
            key = opened[1].strip()
            if key in found:
                return Unread(f"has the key {key} twice")
            value = (opened[2] or "").strip()
            found[key] = "" if re.fullmatch(r"[|>][+-]?", value) else _scalar(value)
        elif item and key:
            found[key] = ", ".join(t for t in (found[key], _scalar(item[1].strip())) if t)
        elif line[0].isspace() and key:
            found[key] = "\n".join(t for t in (found[key], line.strip()) if t)
        else:
            return Unread(f"has a line of front matter that is not `key: value` (its line {number})")
    return found


def _scalar(text: str) -> str:
    """A value without its quotes and comments; a list in brackets as its items, joined by commas."""
    if len(text) >= 2 and text[0] == text[-1] and text[0] in "'\"":
        return text[1:-1]
    if text.startswith("[") and text.endswith("]"):
        return ", ".join(_scalar(item.strip()) for item in text[1:-1].split(",") if item.strip())
    return "" if text in ("~", "null") else _COMMENT.sub("", text)


def _toml_keys(front: list[str]) -> dict[str, str] | Unread:
    try:
        found = tomllib.loads("\n".join(front))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        return Unread(f"has front matter that is not TOML ({str(error)[:100]})")
    return {key: ", ".join(map(str, v)) if isinstance(v, list) else str(v) for key, v in found.items()}
