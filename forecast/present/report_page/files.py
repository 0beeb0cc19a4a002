"""The files of a report: which may be written, and writing them whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from forecast.errors import UsageError
from forecast.files.folder import Build
from forecast.simulate.settings import Settings

_PAPERS = {"a4": "A4", "letter": "letter"}
_SUFFIXES = {
    "-o": (".html", ".htm", ".pdf"),
    "--ics": (".ics",),
    "--hours-csv": (".csv",),
    "--log": (".csv", ".xlsx"),
}


@dataclass(frozen=True, kw_only=True)
class Files:
    """What is to be written where; None = not at all.

    Attributes
    ----------
    page : .html, .htm or .pdf
    calendar : .ics
    hours : .csv
    log : .csv or .xlsx: every session as the log has it, for other programs
    paper : A4 or letter, for a PDF
    record : whether the page shows what would have been forecast on past days
    """

    page: Path | None = None
    calendar: Path | None = None
    hours: Path | None = None
    log: Path | None = None
    paper: str = "A4"
    record: bool = True

    def check(self, folder: Path) -> None:
        """Refuse what must not be written, before any work is done.

        Raises
        ------
        UsageError in one sentence: no file, a wrong ending, a folder that is not there, a file that the
        builder keeps, or one file twice.
        """
        asked = self._by_option()
        if not asked:
            raise UsageError(
                "Say what to write: -o FILE.html or FILE.pdf, --ics FILE.ics, --hours-csv FILE.csv, "
                "--log FILE.csv or FILE.xlsx."
            )
        if self.paper.casefold() not in _PAPERS:
            raise UsageError(f"--paper: {self.paper!r} must be A4 or letter.")
        for option, path in asked.items():
            _check(option, path, folder)
        if len({path.resolve() for path in asked.values()}) < len(asked):
            raise UsageError("Two of the files are the same: give each its own name.")

    @property
    def sheet(self) -> str:
        """The paper as a style sheet names it."""
        return _PAPERS[self.paper.casefold()]

    def _by_option(self) -> dict[str, Path]:
        found = {"-o": self.page, "--ics": self.calendar, "--hours-csv": self.hours, "--log": self.log}
        return {option: path for option, path in found.items() if path is not None}


def _check(option: str, path: Path, folder: Path) -> None:
    endings = _SUFFIXES[option]
    if path.suffix.casefold() not in endings:
        raise UsageError(f"{option}: {str(path)!r} must end in {' or '.join(endings)}.")
    if not path.parent.is_dir():
        raise UsageError(f"{option}: the folder {str(path.parent)!r} is not there.")
    if path.is_dir():
        raise UsageError(f"{option}: {str(path)!r} is a folder.")
    inside = path.resolve().is_relative_to(folder.resolve()) if folder.exists() else False
    if inside and path.suffix.casefold() == ".csv" and (path.exists() or path.parent.name == "log"):
        raise UsageError(f"{option}: {str(path)!r} is a file of the build: give another name.")


def write_report(
    build: Build,
    as_of: date,
    settings: Settings,
    files: Files,
    *,
    on_progress: Callable[[int, int], None] | None = None,
) -> tuple[Path, ...]:
    """Compute what is asked for, then write it; the files that were written.

    Nothing is written unless all of it could be made.

    Parameters
    ----------
    build : the folder
    as_of : the last day that counts
    settings : runs, seed and horizon
    files : checked by `Files.check`
    on_progress : called with (runs played, runs in all)
    """
    made = _made(build, as_of, settings, files, on_progress)
    for path, data in made.items():
        _write(path, data)
    return tuple(made)


def _made(
    build: Build,
    as_of: date,
    settings: Settings,
    files: Files,
    on_progress: Callable[[int, int], None] | None,
) -> dict[Path, bytes]:
    from forecast.intake import exported_log
    from forecast.present.calendar import calendar_file
    from forecast.present.report_page.answers import gather_answers
    from forecast.present.report_page.page import page_html, page_pdf
    from forecast.questions.hours_summary import record_csv

    made: dict[Path, bytes] = {}
    if files.log is not None:
        made[files.log] = exported_log(build, files.log.suffix, as_of)
    if not (files.page or files.calendar or files.hours):
        return made
    on_page = files.page is not None
    answers = gather_answers(
        build, as_of, settings, crew=on_page, record=on_page and files.record, on_progress=on_progress
    )
    if files.page is not None:
        if files.page.suffix.casefold() == ".pdf":
            made[files.page] = page_pdf(answers, paper=files.sheet)
        else:
            made[files.page] = page_html(answers).encode("utf-8")
    if files.calendar is not None:
        order_by = {o.delivery: o.order_by for o in answers.orders.orders if o.order_by is not None}
        made[files.calendar] = calendar_file(answers.outlook, order_by)
    if files.hours is not None:
        made[files.hours] = record_csv(answers.hours)
    return made


def _write(path: Path, data: bytes) -> None:
    """The whole file or the old one: never a half."""
    try:
        with _temporary_beside(path) as temporary:
            temporary.write_bytes(data)
            os.chmod(temporary, path.stat().st_mode if path.exists() else 0o644)
            os.replace(temporary, path)
    except OSError as error:
        raise UsageError(f"{str(path)!r} could not be written: {error.strerror}.") from None


@contextlib.contextmanager
def _temporary_beside(path: Path) -> Iterator[Path]:
    descriptor, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    os.close(descriptor)
    try:
        yield Path(name)
    finally:
        Path(name).unlink(missing_ok=True)
