"""The Sphinx directives of this site. What they show is made in `docs/content`; here it becomes nodes."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Any

from docutils import nodes
from sphinx.application import Sphinx
from sphinx.util.docutils import SphinxDirective

from docs.content.cautions import TABLE, cautions_table
from docs.content.columns import SCHEMAS, columns_table
from docs.content.commands import command_pages
from docs.content.reference import escape_markup, reference
from docs.content.report_figures import ROOT, answers_of, report_command
from docs.content.skill_figures import FIGURES
from docs.content.skill_tables import BENCHMARKS, study_file

# Before numpydoc (500), which turns the sections of a docstring into reStructuredText.
_BEFORE_NUMPYDOC = 400
REPORT = "sample-report.html"
_STUDIES = "studies"


class Columns(SphinxDirective):
    """`{columns} NAME`: the columns of one file of a build folder."""

    required_arguments = 1

    def run(self) -> list[nodes.Node]:
        """Parse the table; the page is built anew when the schema changes."""
        name = self.arguments[0]
        self.env.note_dependency(str(SCHEMAS / f"{name}.json"))
        return self.parse_text_to_nodes(columns_table(name))


class Cautions(SphinxDirective):
    """`{cautions}`: what the program must not be read as saying."""

    def run(self) -> list[nodes.Node]:
        """Parse the table."""
        self.env.note_dependency(str(TABLE))
        return self.parse_text_to_nodes(cautions_table())


class Commands(SphinxDirective):
    """`{commands}`: the help of every command."""

    def run(self) -> list[nodes.Node]:
        """Parse one section per command."""
        return self.parse_text_to_nodes(command_pages(), allow_section_headings=True)


class PublicNames(SphinxDirective):
    """`{public-names}`: the reference of everything in `forecast.__all__`."""

    def run(self) -> list[nodes.Node]:
        """Document every public name; a name that cannot be imported fails the build."""
        import forecast

        names = list(forecast.__all__)
        text = reference(names, {name: getattr(forecast, name) for name in names})
        return self.parse_text_to_nodes(text, allow_section_headings=True)


class ReportAnswer(SphinxDirective):
    """`{report-answer} SECTION`: what the report of the sample build says, with its pictures."""

    required_arguments = 1

    def run(self) -> list[nodes.Node]:
        """Wait for the report and show one of its answers."""
        _finish_report(self.env.app)
        report = Path(self.env.app.outdir) / REPORT
        found = answers_of(report.read_text(encoding="utf-8"))
        section = self.arguments[0]
        if section not in found or not found[section].figures:
            raise self.error(f"The report has no picture in section {section!r}; it has {sorted(found)}.")
        answer = found[section]
        said = "".join(f"<p>{sentence}</p>" for sentence in answer.sentences)
        return [_html(f'<blockquote class="answer">{said}</blockquote>{"".join(answer.figures)}')]


class SkillChart(SphinxDirective):
    """`{skill-chart} NAME`: a result of a study as a chart, with its figures as a table beside it."""

    required_arguments = 1

    def run(self) -> list[nodes.Node]:
        """Draw the chart from the committed table."""
        name = self.arguments[0]
        figure = FIGURES[name]()
        self.env.note_dependency(str(study_file(figure.study)))
        page = study_file(figure.study).relative_to(BENCHMARKS).with_suffix(".html").as_posix()
        caption = f'{figure.caption} <a href="{_STUDIES}/{page}">All figures of this study</a>'
        picture = f"{figure.svg(name)}<figcaption>{caption}</figcaption>"
        layout = "chart-above-table" if figure.is_wide else "chart-beside-table"
        heading = self.parse_text_to_nodes(f"## {figure.title}", allow_section_headings=True)
        return [
            *heading,
            _html(f'<div class="{layout}"><figure>{picture}</figure>'),
            *self.parse_text_to_nodes(figure.markdown()),
            _html("</div>"),
        ]


def _html(text: str) -> nodes.raw:
    return nodes.raw("", text, format="html")


def start_report(app: Sphinx) -> None:
    """Start writing the report of the sample build; it takes longer than all pages together."""
    out = Path(app.outdir)
    out.mkdir(parents=True, exist_ok=True)
    app.benchdays_report = subprocess.Popen(  # type: ignore[attr-defined]
        report_command(out / REPORT), cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    )


def _finish_report(app: Sphinx, *_: Any) -> None:
    report: subprocess.Popen[str] = app.benchdays_report  # type: ignore[attr-defined]
    # Pages and the end of the build both wait for it; its output can be read once.
    problems = "" if report.stderr is None or report.stderr.closed else report.communicate()[1]
    if report.returncode:
        raise RuntimeError(f"The report of the sample build failed: {problems}")


def write_studies(app: Sphinx) -> None:
    """One page per study, in the folders of benchmarks/, which includes what the study wrote."""
    folder = Path(app.srcdir) / _STUDIES
    pages = [p for p in sorted(BENCHMARKS.rglob("*.md")) if p.name != "README.md"]
    wanted = {folder / page.relative_to(BENCHMARKS): page for page in pages}
    for old in set(folder.rglob("*.md")) - set(wanted):
        old.unlink()
    for file, page in wanted.items():
        up = "../" * len(file.relative_to(ROOT).parent.parts)
        text = f"```{{include}} {up}{page.relative_to(ROOT)}\n```\n"
        # Unchanged files keep their date, so that Sphinx does not build their pages again.
        if not file.exists() or file.read_text(encoding="utf-8") != text:
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(text, encoding="utf-8")


def _escape_docstring(app: Sphinx, what: str, name: str, thing: Any, options: Any, lines: list[str]) -> None:
    lines[:] = escape_markup(lines)


def setup(app: Sphinx) -> dict[str, bool]:
    """Register directives and events."""
    for name, directive in {
        "cautions": Cautions,
        "columns": Columns,
        "commands": Commands,
        "public-names": PublicNames,
        "report-answer": ReportAnswer,
        "skill-chart": SkillChart,
    }.items():
        app.add_directive(name, directive)
    app.connect("builder-inited", start_report)
    app.connect("builder-inited", write_studies)
    app.connect("build-finished", _finish_report)
    app.connect("autodoc-process-docstring", _escape_docstring, priority=_BEFORE_NUMPYDOC)
    return {"parallel_read_safe": False, "parallel_write_safe": True}
