"""The documentation shows what the program does: outputs, columns, commands, names, results of studies.

`make docs` builds the site, runs its notebook, and checks its links; here is what needs no build.
"""

import doctest
import importlib
import json
import re
import shutil
from pathlib import Path

import pytest

import forecast
from docs.content import skill_tables
from docs.content.columns import SCHEMAS, allowed, columns_table
from docs.content.commands import command_pages
from docs.content.links import problems_of_site
from docs.content.reference import escape_markup, group_of, reference
from docs.content.report_figures import answers_of, report_command
from docs.content.skill_figures import FIGURES
from docs.content.skill_tables import builds_of, study_file, study_table
from tests.pages import PAGES, ROOT, printed_now, shown
from tests.test_docs import words_dates_numbers

DOCS = ROOT / "docs"
TEXTS = {p.relative_to(ROOT).as_posix(): p.read_text(encoding="utf-8") for p in sorted(DOCS.glob("*.md"))}
IN_A_FOLDER = ("plan", "log", "deliveries", "away", "forecasts")


@pytest.mark.slow
@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_a_page_shows_what_its_commands_print(page):
    """Numbers to a tenth and dates to a month: a build that has hardly begun has dates years ahead."""
    on_page = shown(page)
    assert on_page
    for command, now in printed_now(list(on_page)).items():
        words, dates, years, numbers = words_dates_numbers(now)
        old_words, old_dates, old_years, old_numbers = words_dates_numbers(on_page[command])
        assert words == old_words, f"{command}: run `python -m tests.pages` and read what changed"
        apart = [abs(a - b) for a, b in zip(dates, old_dates, strict=True)]
        assert max((min(days, 365 - days) for days in apart), default=0) <= 31, command
        assert max((abs(a - b) for a, b in zip(years, old_years, strict=True)), default=0) <= 1, command
        assert numbers == pytest.approx(old_numbers, rel=0.1, abs=1), command


@pytest.mark.parametrize("module", sorted(p.stem for p in (DOCS / "content").glob("[a-z]*.py")))
def test_the_examples_in_the_docstrings_hold(module):
    failed, _ = doctest.testmod(importlib.import_module(f"docs.content.{module}"))
    assert failed == 0


@pytest.mark.parametrize("name", sorted(TEXTS))
def test_pages_use_public_names_only(name):
    used = set(re.findall(r"(?<![\w.])forecast\.([a-zA-Z_]\w*)", TEXTS[name]))
    assert used <= set(forecast.__all__), name


@pytest.mark.parametrize("name", sorted(TEXTS))
def test_every_picture_has_a_text(name):
    pictures = re.findall(r"```\{image\}.*?```", TEXTS[name], flags=re.DOTALL)
    assert all(re.search(r"^:alt: .{20,}", picture, flags=re.MULTILINE) for picture in pictures)


@pytest.mark.parametrize("name", sorted(TEXTS))
def test_every_command_on_a_page_exists(name):
    used = set(re.findall(r"\bbenchdays ([a-z]+) (?:my-|sample_|club)", TEXTS[name]))
    known = set(re.findall(r"^## (\w+)$", command_pages(), flags=re.MULTILINE))
    assert used <= known


@pytest.mark.parametrize("page", ["DEVELOPERS.md", *sorted(TEXTS)])
def test_every_file_that_is_named_is_there(page):
    text = (ROOT / page).read_text(encoding="utf-8")
    named = re.findall(r"`((?:forecast|benchmarks|shared|tests|docs|sample_logs)/[\w./]+)`", text)
    assert [name for name in named if not (ROOT / name).exists() and not name.startswith("docs/_build")] == []


class TestColumns:
    @pytest.mark.parametrize("schema", IN_A_FOLDER)
    def test_every_column_has_one_row(self, schema):
        fields = json.loads((SCHEMAS / f"{schema}.json").read_text(encoding="utf-8"))["fields"]
        rows = columns_table(schema).splitlines()[2:]
        assert [row.split("`")[1] for row in rows] == [f["name"] for f in fields]
        assert [row.endswith("| **required** |") for row in rows] == [
            bool(f.get("constraints", {}).get("required")) for f in fields
        ]

    def test_the_page_shows_every_file_of_a_build_folder(self):
        named = set(re.findall(r"```\{columns\} (\w+)", TEXTS["docs/files.md"]))
        assert named == set(IN_A_FOLDER) == {p.stem for p in SCHEMAS.glob("*.json")} - {"sessions"}

    def test_limits_and_units_are_said(self):
        hours = {"type": "number", "unit": "person-hours", "constraints": {"exclusiveMinimum": 0}}
        assert allowed(hours) == "number, above 0 (person-hours)"
        assert allowed({"type": "string", "constraints": {"enum": ["one", "two"]}}) == "`one` or `two`"
        assert allowed({"type": "string", "constraints": {"pattern": r"\S+"}}, unique=True).endswith(
            ", unique"
        )

    def test_references_and_dates_are_said(self):
        rows = {row.split("`")[1]: row for row in columns_table("plan").splitlines()[2:]}
        assert "| a `task` of plan.csv |" in rows["repeat_of"]
        assert "| a `delivery` of deliveries.csv |" in rows["delivery"]
        assert "| YYYY-MM-DD, 1950 to 2199 |" in rows["added"]

    def test_build_toml_takes_every_key_of_the_page(self, tmp_path):
        keys = re.findall(
            r"^\| `((?:builder|limit)\.\w+|name|country)` \|", TEXTS["docs/files.md"], re.MULTILINE
        )
        values = {
            "joins": "2025-01-10",
            "weekly_hours": "5",
            "amount": "400",
            "id": '"A"',
            "name": '"Tern"',
            "country": '"GB"',
        }
        lines = [f"{k} = {values[k]}" for k in keys if "." not in k]
        for table in ("builder", "limit"):
            own = [k.partition(".")[2] for k in keys if k.startswith(f"{table}.")]
            lines += [f"[[{table}]]", *(f"{k} = {values[k]}" for k in own)]
        starter = SCHEMAS / "starter"
        for name in ("plan.csv", "log.csv"):
            shutil.copy(starter / name, tmp_path)
        shutil.copy(starter / "deliveries.csv", tmp_path)
        assert len(keys) == 7
        for first, notices in (("", 0), ("odd = 1\n", 1)):
            (tmp_path / "build.toml").write_text(first + "\n".join(lines), encoding="utf-8")
            found = [n for n in forecast.read_build(tmp_path).notices if "build.toml" in n]
            assert len(found) == notices, found


class TestCommands:
    def test_every_command_is_there_with_its_options(self):
        text = command_pages()
        names = re.findall(r"^## (\w+)$", text, flags=re.MULTILINE)
        assert len(names) >= 14
        assert all(f"Usage: benchdays {name} " in text for name in names)
        assert text.count("--as-of") >= 8

    def test_the_report_of_the_gallery_is_a_command(self):
        words = report_command(Path("x.html"))
        assert words[1:4] == ["-m", "forecast.cli", "report"]
        assert f"--{'runs'}" in command_pages()


class TestReference:
    def test_every_public_name_is_there_once(self):
        names = list(forecast.__all__)
        text = reference(names, {name: getattr(forecast, name) for name in names})
        documented = re.findall(r"^\.\. auto\w+:: forecast\.(\w+)$", text, flags=re.MULTILINE)
        assert sorted(documented) == sorted(n for n in names if group_of(getattr(forecast, n)))
        assert set(names) - set(documented) == {"__version__"}

    def test_formulas_are_no_markup(self):
        assert escape_markup(["mean|x - y| of `a|b` and types_."]) == [r"mean\|x - y\| of `a|b` and types\_."]
        assert escape_markup(["    >>> a | b_"]) == ["    >>> a | b_"]


class TestReportAnswers:
    PAGE = (
        '<section id="finish"><p class="answer">Soon.</p><p class="answer caution">No.</p>'
        "<figure><svg></svg></figure></section><section id='odd'></section>"
    )

    def test_sentences_and_figures_by_section(self):
        found = answers_of(self.PAGE)
        assert found["finish"].sentences == ("Soon.",)
        assert found["finish"].figures == ("<figure><svg></svg></figure>",)

    def test_a_page_without_sections_is_refused(self):
        with pytest.raises(ValueError, match="no sections"):
            answers_of("<html></html>")


class TestSkill:
    def test_the_page_shows_every_figure_once(self):
        assert re.findall(r"```\{skill-chart\} ([\w-]+)", TEXTS["docs/skill.md"]) == list(FIGURES)

    @pytest.mark.parametrize("name", FIGURES)
    def test_a_figure_is_complete(self, name):
        figure = FIGURES[name]()
        drawn = figure.svg(name)
        assert re.search(r"\d", figure.title), "the title states a finding"
        assert f'<title id="{name}-title">{figure.title[:20]}' in drawn.replace("&#x27;", "'")
        assert "aria-label=" not in drawn
        assert not figure.table.isna().any().any()
        assert len(figure.markdown().splitlines()) == len(figure.table) + 2

    @pytest.mark.parametrize("name", FIGURES)
    def test_axes_of_values_have_titles_with_units(self, name):
        titles = set(re.findall(r'"title": "([^"]+)"', json.dumps(FIGURES[name]().chart.to_dict())))
        assert any("percent" in title or "CRPS" in title for title in titles)

    @pytest.mark.parametrize("name", FIGURES)
    def test_every_figure_of_the_table_is_drawn(self, name):
        figure = FIGURES[name]()
        data = [row for rows in figure.chart.to_dict()["datasets"].values() for row in rows]
        drawn = {float(v) for row in data for v in row.values() if isinstance(v, int | float)}
        cells = re.findall(r"(?<![\w%-])\d+\.\d+(?= \|)", figure.markdown())
        assert cells or name == "crew-gain"
        places = {len(cell.partition(".")[2]) for cell in cells}
        rounded = {f"{v * scale:.{n}f}" for v in drawn for n in places for scale in (1, 0.01)}
        assert set(cells) <= rounded

    def test_titles_follow_the_table(self, tmp_path, monkeypatch):
        page = study_file("tonight").read_text(encoding="utf-8")
        changed = page.replace("| 70% to 90% | 730 | 0.809 | 0.815 |", "| 70% to 90% | 730 | 0.809 | 0.615 |")
        assert changed != page
        (tmp_path / "tonight.md").write_text(changed, encoding="utf-8")
        monkeypatch.setattr(skill_tables, "BENCHMARKS", tmp_path)
        assert FIGURES["tonight-calibration"]().title.endswith("62 % were finished")

    def test_what_is_missing_is_refused(self, tmp_path, monkeypatch):
        with pytest.raises(KeyError, match="no heading"):
            study_table("tonight", "Nowhere")
        with pytest.raises(FileNotFoundError, match="Found 0"):
            study_table("no_such_study")
        monkeypatch.setattr(skill_tables, "BENCHMARKS", tmp_path)
        (tmp_path / "empty.md").write_text("# Empty\n", encoding="utf-8")
        with pytest.raises(KeyError, match="no table"):
            study_table("empty")
        with pytest.raises(KeyError, match="does not say"):
            builds_of("empty")


class TestLinks:
    def site(self, tmp_path, body, name="index.html"):
        (tmp_path / name).write_text(f"<html><body>{body}</body></html>", encoding="utf-8")
        return problems_of_site(tmp_path)

    @pytest.mark.parametrize(
        ("body", "problem"),
        [
            ('<a href="gone.html">x</a>', "index.html links to gone.html, which is not there."),
            ('<a href="#gone">x</a>', "index.html links to #gone, which is not there."),
            ('<script src="https://a.example/x.js"></script>', "index.html fetches https://a.example/x.js."),
            ('<link rel="stylesheet" href="//a.example/x.css">', "index.html fetches //a.example/x.css."),
            ('<img src="http://a.example/x.png" alt="x">', "index.html fetches http://a.example/x.png."),
            ("<style>@import 'https://a.example/f';</style>", "index.html fetches https://a.example/f."),
            ('<p style="background: url(https://a.example/b)">', "index.html fetches https://a.example/b."),
            ('<img src="x.png">', "index.html shows x.png without a text."),
        ],
    )
    def test_a_problem_is_found(self, tmp_path, body, problem):
        assert self.site(tmp_path, body) == [problem]

    def test_a_sound_site_has_none(self, tmp_path):
        self.site(tmp_path, '<h1 id="top">x</h1>', name="other.html")
        links = ("other.html#top", "https://a.example", "#here", "other.html", "")
        body = "".join(f'<a href="{link}">x</a>' for link in links) + '<p id="here">x</p>'
        assert self.site(tmp_path, body) == []

    def test_a_style_sheet_is_looked_at(self, tmp_path):
        (tmp_path / "site.css").write_text("@font-face { src: url(https://a.example/f) }", encoding="utf-8")
        assert self.site(tmp_path, "") == ["site.css fetches https://a.example/f."]

    def test_an_empty_folder_is_a_problem(self, tmp_path):
        assert len(problems_of_site(tmp_path)) == 1


def test_make_docs_and_ci_build_the_site_with_warnings_as_errors():
    recipe = (ROOT / "Makefile").read_text(encoding="utf-8")
    assert re.search(
        r"^docs: \.venv/docs\n\trm -rf docs/_build\n\t\$\(PY\) -m sphinx .*-W ", recipe, re.MULTILINE
    )
    assert "-m docs.content.links docs/_build/html" in recipe
    assert "\nmake docs\n" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")
