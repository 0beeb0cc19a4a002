"""The report: one page that needs no network and no script, and prints; or the same as PDF.

gather_answers   every answer on the page, computed
page_html        the page
page_pdf         the page as PDF
"""

from forecast.present.report_page.gathered import ReportAnswers, gather_answers
from forecast.present.report_page.page import page_html, page_pdf

__all__ = ["ReportAnswers", "gather_answers", "page_html", "page_pdf"]
