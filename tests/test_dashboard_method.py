"""What the method page says of the studies and of the published checks."""

import re
from pathlib import Path

import pytest

from dashboard.work.study_tables import (
    chance_calibration,
    coverage_sentence,
    method_text,
    range_coverage,
    study_tables,
)
from forecast.files.reference_tables import METHOD_READERS, method_page, reference_table

PUBLISHED = Path(__file__).parent / "published"
CHECKS = reference_table("published_checks")


@pytest.mark.parametrize("reader", METHOD_READERS)
def test_every_table_of_the_pages_is_read(reader):
    found = study_tables(reader)
    assert {"tonight", "finish"} <= set(found)
    assert len(found) == method_page(reader).count("<!-- quoted:")


@pytest.mark.parametrize("reader", METHOD_READERS)
def test_the_words_of_a_page_hold_no_table_and_no_mark_of_one(reader):
    assert not re.search(r"^\||<!--", method_text(reader), flags=re.MULTILINE)
    assert "##" in method_text(reader)


def test_the_coverage_is_that_of_the_study():
    quoted, shown = study_tables("builders")["finish"], range_coverage()
    assert len(shown) == len(quoted) == 12
    assert shown["Forecast of"].str.startswith("the ").all()
    for said, share in zip(shown["Within the 80 % range"], quoted["80 %"], strict=True):
        assert said == f"{100 * float(share):.0f} in 100"
    assert set(shown["Hours done by then"]) == {"a quarter", "half", "three quarters"}


def test_the_sentence_gives_the_worst_and_the_best():
    shares = [float(s) for s in study_tables("builders")["finish"]["80 %"]]
    low, high = (f"{100 * share:.0f}" for share in (min(shares), max(shares)))
    assert coverage_sentence() == f"The 80 % ranges contained the outcome in {low} to {high} of 100 cases."


def test_the_chances_of_tonight_rise_with_what_was_given():
    finished = [int(said.split()[0]) for said in chance_calibration()["Finished"]]
    assert finished == sorted(finished)


@pytest.mark.parametrize("row", list(CHECKS.itertuples()), ids=lambda r: r.test.partition("::")[2])
def test_a_check_names_an_existing_test_and_a_figure_in_it(row):
    file, _, name = row.test.partition("::")
    text = (PUBLISHED / file).read_text(encoding="utf-8")
    assert f"def {name}(" in text
    body = text.partition(f"def {name}(")[2].partition("\ndef ")[0]
    for figure in re.findall(r"-?\d+\.\d+", row.figure):
        assert figure in body
