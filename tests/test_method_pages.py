"""The method pages quote the pages of the studies, name files that exist, and stay short."""

import re

import pytest

from tests.quoted import PAGES, ROOT, cells, quotations

NAMES = [p.name for p in PAGES]


def test_there_is_a_page_for_builders_and_one_for_statisticians():
    assert NAMES == ["for_builders.md", "for_statisticians.md"]


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_the_tables_are_those_of_the_studies(page):
    found = quotations(page)
    assert len(found) == 3
    for quoted, now in found:
        assert quoted == now, "run `python -m tests.quoted` and read what changed"


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_every_file_that_is_named_exists(page):
    text = page.read_text(encoding="utf-8")
    named = re.findall(r"`((?:forecast|benchmarks|shared|tests)/[\w./]+)`", text)
    assert all((ROOT / name).exists() for name in named)


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_a_page_is_short(page):
    """Two printed pages or little more, at about 600 words each, without tables."""
    lines = page.read_text(encoding="utf-8").splitlines()
    words = [w for line in lines if not line.startswith(("|", "<!--")) for w in line.split()]
    assert len(words) < 1300


def test_the_statisticians_page_names_its_sources():
    text = (ROOT / "shared" / "method" / "for_statisticians.md").read_text(encoding="utf-8")
    for source in ("Talts et al. 2018", "Gneiting & Raftery 2007", "Clopper-Pearson", "Graham", "Stewart"):
        assert source in text


def test_a_row_is_split_at_its_bars():
    assert cells("| a | b c |") == ["a", "b c"]
