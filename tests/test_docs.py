"""What the README shows is what the commands print."""

import re
import sys

import pytest

from tests.printed import README, ROOT, printed, run, shown

TEXT = README.read_text(encoding="utf-8")


def test_the_printed_output_of_the_demo_is_what_it_prints():
    assert printed() == shown(), "run `python -m tests.printed` and read what changed"


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
