"""The files of a report: which may be written, and writing them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from forecast.errors import InputError, UsageError
from forecast.files.folder import Build
from forecast.files.storage import write_atomically
from forecast.simulate.settings import Settings

_PAPERS = {"a4": "A4", "letter": "letter"}
_SUFFIXES = {
    "-o": (".html", ".htm", ".pdf"),
    "--ics": (".ics",),
    "--hours-csv": (".csv",),
    "--log": (".csv", ".xlsx"),
}


@dataclass(frozen=True, kw_only=True)
class ReportFiles:
    """The files to write; None = not wanted.

    Attributes
    ----------
    page : .html, .htm or .pdf
    calendar : .ics
    hours : .csv
    log : .csv or .xlsx: every session, for other programs
    paper : A4 or letter, for a PDF
    record : whether the page includes the back-test
    """

    page: Path | None = None
    calendar: Path | None = None
    hours: Path | None = None
    log: Path | None = None
    paper: str = "A4"
    record: bool = True

    def check(self, folder: Path) -> None:
        """Refuse files that must not be written, before any work is done.

        Raises
        ------
        UsageError in one sentence: no file, a wrong ending, a missing folder, a file of the build, or the
        same file twice.
        """
        wanted = self._by_option()
        if not wanted:
            raise UsageError(
                "Say what to write: -o FILE.html or FILE.pdf, --ics FILE.ics, --hours-csv FILE.csv, "
                "--log FILE.csv or FILE.xlsx."
            )
        if self.paper.casefold() not in _PAPERS:
            raise UsageError(f"--paper: {self.paper!r} must be A4 or letter.")
        for option, path in wanted.items():
            _check(option, path, folder)
        if len({path.resolve() for path in wanted.values()}) < len(wanted):
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
        raise UsageError(f"{option}: the folder {str(path.parent)!r} does not exist.")
    if path.is_dir():
        raise UsageError(f"{option}: {str(path)!r} is a folder.")
    # Reports and calendars may be written into the build folder, but no CSV file that the program reads.
    inside = path.resolve().is_relative_to(folder.resolve()) if folder.exists() else False
    if inside and path.suffix.casefold() == ".csv" and (path.exists() or path.parent.name == "log"):
        raise UsageError(f"{option}: {str(path)!r} is a file of the build: give another name.")


def write_report(
    build: Build,
    as_of: date,
    settings: Settings,
    files: ReportFiles,
    *,
    on_progress: Callable[[int, int], None] | None = None,
) -> tuple[Path, ...]:
    """Compute what is wanted, then write it; return the paths written.

    Nothing is written unless everything could be computed.

    Parameters
    ----------
    build : the folder
    as_of : the last day that counts
    settings : runs, seed and horizon
    files : checked by `ReportFiles.check`
    on_progress : called with (done, 100), in hundredths

    Raises
    ------
    UsageError when a file cannot be written; it is then as it was.
    """
    contents = _contents(build, as_of, settings, files, on_progress)
    for path, data in contents.items():
        try:
            write_atomically(path, data)
        except InputError as error:
            raise UsageError(str(error)) from None
    return tuple(contents)


def _contents(
    build: Build,
    as_of: date,
    settings: Settings,
    files: ReportFiles,
    on_progress: Callable[[int, int], None] | None,
) -> dict[Path, bytes]:
    from forecast.intake import exported_log
    from forecast.present.calendar import calendar_file
    from forecast.present.report_page.gathered import gather_answers
    from forecast.present.report_page.page import page_html, page_pdf
    from forecast.questions.hours_summary import record_csv

    contents: dict[Path, bytes] = {}
    if files.log is not None:
        contents[files.log] = exported_log(build, files.log.suffix, as_of)
    if not (files.page or files.calendar or files.hours):
        return contents
    on_page = files.page is not None
    answers = gather_answers(
        build, as_of, settings, crew=on_page, record=on_page and files.record, on_progress=on_progress
    )
    if files.page is not None:
        if files.page.suffix.casefold() == ".pdf":
            contents[files.page] = page_pdf(answers, paper=files.sheet)
        else:
            contents[files.page] = page_html(answers).encode("utf-8")
    if files.calendar is not None:
        order_by = {o.delivery: o.order_by for o in answers.orders.orders if o.order_by is not None}
        contents[files.calendar] = calendar_file(answers.outlook, order_by)
    if files.hours is not None:
        contents[files.hours] = record_csv(answers.hours)
    return contents
