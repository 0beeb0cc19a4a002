"""What the README shows is what the commands print."""

import re
import sys
from datetime import datetime

import pytest

from tests.printed import README, ROOT, printed, run, shown

TEXT = README.read_text(encoding="utf-8")


DATE = re.compile(r"\b(\d{1,2}) ([A-Z][a-z]{2})[a-z]*(?: (\d{4}))?\b")
NUMBER = re.compile(r"\d[\d,]*")


def words_dates_numbers(text):
    """The words in order, the days in the year of the dates, and the other numbers."""
    dates = [
        datetime.strptime(f"{d} {m} 2001", "%d %b %Y").timetuple().tm_yday for d, m, _ in DATE.findall(text)
    ]
    years = [int(y) for _, _, y in DATE.findall(text) if y]
    rest = DATE.sub("DATE", text)
    numbers = [int(n.replace(",", "")) for n in NUMBER.findall(rest)]
    return NUMBER.sub("N", rest).split(), dates, years, numbers


def test_the_printed_output_of_the_demo_is_what_it_prints():
    """To a few days: another processor rounds the last bits otherwise, which moves some of the draws."""
    words, dates, years, numbers = words_dates_numbers(printed())
    shown_words, shown_dates, shown_years, shown_numbers = words_dates_numbers(shown())
    assert words == shown_words, "run `python -m tests.printed` and read what changed"
    apart = [abs(a - b) for a, b in zip(dates, shown_dates, strict=True)]
    assert max(min(days, 365 - days) for days in apart) <= 5
    assert max(abs(a - b) for a, b in zip(years, shown_years, strict=True)) <= 1
    assert numbers == pytest.approx(shown_numbers, rel=0.06)


def test_the_comparison_sees_another_date_and_another_word():
    words, dates, _, numbers = words_dates_numbers("Wings: 80 % sure by 14 March 2027; even odds by 2 Feb")
    assert words == ["Wings:", "N", "%", "sure", "by", "DATE;", "even", "odds", "by", "DATE"]
    assert dates == [73, 33]
    assert numbers == [80]


def test_the_readme_opens_with_the_job_in_one_paragraph():
    first = TEXT.split("\n\n")[1]
    assert "kit at home" in first
    assert "finish" in first


@pytest.mark.parametrize("command", sorted(set(re.findall(r"benchdays ([a-z]+) my-build", TEXT))))
def test_every_command_that_the_readme_names_has_help(command):
    assert f"benchdays {command}" in run([sys.executable, "-m", "forecast.cli", command, "--help"])


@pytest.mark.parametrize("target", sorted(set(re.findall(r"\]\(([^)#]+)\)", TEXT))))
def test_every_link_of_the_readme_leads_somewhere(target):
    assert (ROOT / target).exists(), target


def test_make_offers_the_five_targets():
    text = (ROOT / "Makefile").read_text(encoding="utf-8")
    for target in ("demo", "test", "check", "bench", "dashboard"):
        assert re.search(rf"^{target}: \.venv/ready", text, flags=re.MULTILINE), target
