"""What the method page says of the studies and of the published checks."""

import re
from pathlib import Path

import pytest

from dashboard.work.measured import chances_held, finish_ranges_held, held_sentence, measured, words_of
from forecast.files.reference_tables import METHOD_READERS, method_page, reference_table

PUBLISHED = Path(__file__).parent / "published"
CHECKS = reference_table("published_checks")


@pytest.mark.parametrize("reader", METHOD_READERS)
def test_every_table_of_the_pages_is_read(reader):
    found = measured(reader)
    assert {"tonight", "finish"} <= set(found)
    assert len(found) == method_page(reader).count("<!-- quoted:")


@pytest.mark.parametrize("reader", METHOD_READERS)
def test_the_words_of_a_page_hold_no_table_and_no_mark_of_one(reader):
    assert not re.search(r"^\||<!--", words_of(reader), flags=re.MULTILINE)
    assert "##" in words_of(reader)


def test_the_ranges_that_held_are_those_of_the_study():
    quoted, shown = measured("builders")["finish"], finish_ranges_held()
    assert len(shown) == len(quoted) == 12
    assert shown["Of"].str.startswith("the ").all()
    for said, share in zip(shown["The 80 % range held"], quoted["80 %"], strict=True):
        assert said == f"{100 * float(share):.0f} in 100"
    assert set(shown["Hours done then"]) == {"a quarter", "half", "three quarters"}


def test_the_sentence_gives_the_worst_and_the_best():
    shares = [float(s) for s in measured("builders")["finish"]["80 %"]]
    assert held_sentence() == (
        f"Ranges meant to hold 80 times in 100 held {100 * min(shares):.0f} to {100 * max(shares):.0f} times."
    )


def test_the_chances_of_tonight_rise_with_what_was_given():
    finished = [int(said.split()[0]) for said in chances_held()["Finished"]]
    assert finished == sorted(finished)


@pytest.mark.parametrize("row", list(CHECKS.itertuples()), ids=lambda r: r.test.partition("::")[2])
def test_a_check_names_a_test_that_is_there_and_a_figure_that_stands_in_it(row):
    file, _, name = row.test.partition("::")
    text = (PUBLISHED / file).read_text(encoding="utf-8")
    assert f"def {name}(" in text
    body = text.partition(f"def {name}(")[2].partition("\ndef ")[0]
    for figure in re.findall(r"-?\d+\.\d+", row.figure):
        assert figure in body
