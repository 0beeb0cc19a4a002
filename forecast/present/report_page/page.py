"""The page: sections in order, put into one HTML file; or the same as PDF."""

from __future__ import annotations

from importlib import resources

from forecast.errors import UsageError
from forecast.present.finish import CAUTION
from forecast.present.report_page.decisions import crew_section, orders_section, record_section
from forecast.present.report_page.elements import Section
from forecast.present.report_page.gathered import ReportAnswers
from forecast.present.report_page.outlook import finish_section, head_sentence, left_section, over_section
from forecast.present.report_page.records import basis_section, cautions_section, hours_section
from forecast.present.report_page.svg import missing_library, svg
from forecast.wording import format_date

_CAUTIOUS = ("hours", "cautions")


def page_sections(answers: ReportAnswers) -> tuple[Section, ...]:
    """The sections of the page in their order; what was not computed is left out."""
    found = (
        finish_section(answers.outlook),
        left_section(answers.outlook, answers.left),
        None if answers.crew is None else crew_section(answers.crew),
        over_section(answers.over),
        orders_section(answers.outlook, answers.orders),
        None if answers.record is None else record_section(answers.record),
        hours_section(answers.hours),
        basis_section(answers.outlook),
        cautions_section(answers.build.country),
    )
    return tuple(section for section in found if section is not None)


def page_html(answers: ReportAnswers, *, paper: str = "") -> str:
    """The report as one HTML page: no request, no script, pictures within it.

    Parameters
    ----------
    answers : as `gather_answers` computes them
    paper : "A4" or "letter" for a page of that size; "" leaves it to the printer

    Raises
    ------
    UsageError when a library of the extra `report` is not installed.
    """
    try:
        from jinja2 import Environment, StrictUndefined
    except ModuleNotFoundError as error:
        raise missing_library(error) from None
    source = (resources.files("forecast.present.report_page") / "page.html.jinja").read_text(encoding="utf-8")
    template = Environment(autoescape=True, undefined=StrictUndefined).from_string(source)
    day = format_date(answers.as_of)
    return template.render(
        name=answers.build.name,
        day=day,
        running=_css_text(f"{answers.build.name}, as of {day}"),
        head=head_sentence(answers.outlook),
        sections=page_sections(answers),
        svg=svg,
        cautious=_CAUTIOUS,
        caution=CAUTION,
        paper=paper,
    )


def page_pdf(answers: ReportAnswers, *, paper: str = "A4") -> bytes:
    """The report as PDF.

    Parameters
    ----------
    answers : as `gather_answers` computes them
    paper : "A4" or "letter"

    Raises
    ------
    UsageError when WeasyPrint, or a system library that it needs, is missing.
    """
    try:
        from weasyprint import HTML
    except ModuleNotFoundError as error:
        raise missing_library(error) from None
    except OSError:
        raise UsageError(
            "PDF needs the Pango library, which is not on this machine (Debian: apt install "
            "libpango-1.0-0 libpangoft2-1.0-0). An .html page prints without it."
        ) from None
    pdf = HTML(string=page_html(answers, paper=paper), url_fetcher=_refuse).write_pdf()
    return bytes(pdf or b"")


def _refuse(url: str) -> dict[str, str]:
    """The page makes no request, so nothing is fetched."""
    raise ValueError(f"The report must not request {url}.")


def _css_text(text: str) -> str:
    """A text that is safe between quotes in a style sheet."""
    return "".join(c if c.isalnum() or c in " ,.-" else " " for c in text)
