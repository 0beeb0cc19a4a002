"""The examples in the docstrings of the studies run, and every study has a page and a row in the README."""

import doctest
import importlib
import pkgutil

import pytest

import benchmarks
from benchmarks.__main__ import SUBJECTS, studies
from tests.quoted import ROOT

MODULES = [m.name for m in pkgutil.walk_packages(benchmarks.__path__, "benchmarks.")]
STUDIES = [study for subject in SUBJECTS for study in studies(subject)]


@pytest.mark.parametrize("name", [m for m in MODULES if not m.endswith("__main__")])
def test_examples_run(name):
    for extra in ("simpy", "ortools", "playwright"):
        pytest.importorskip(extra)
    assert doctest.testmod(importlib.import_module(name)).failed == 0


@pytest.mark.parametrize("study", STUDIES)
def test_every_study_can_be_run_and_has_a_page_and_a_row_in_the_readme(study):
    for extra in ("ortools", "playwright"):
        pytest.importorskip(extra)
    assert callable(importlib.import_module(study).main)
    file = ROOT / f"{study.replace('.', '/')}.md"
    assert file.exists()
    readme = (ROOT / "benchmarks" / "README.md").read_text(encoding="utf-8")
    assert f"| `{study}` |" in readme
    assert f"]({file.relative_to(ROOT / 'benchmarks')})" in readme
