"""What the README shows is what the commands print."""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _run(command: list[str]) -> str:
    environment = {**os.environ, "COLUMNS": "100", "NO_COLOR": "1"}
    done = subprocess.run(
        command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False, timeout=240
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def _demo_command() -> list[str]:
    recipe = subprocess.run(
        ["make", "-n", "demo"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    words = shlex.split(recipe[-1])
    assert words[1:4] == ["-m", "forecast.cli", "finish"]
    return [sys.executable, *words[1:]]


def test_the_printed_output_of_the_demo_is_what_it_prints():
    shown = re.search(r"<!-- output: make demo -->\n```text\n(.*?)```", README, flags=re.DOTALL)
    assert shown is not None
    printed = "".join(f"{line.rstrip()}\n" for line in _run(_demo_command()).splitlines())
    assert printed.strip("\n") == shown.group(1).strip("\n")


def test_the_readme_opens_with_the_job_in_one_paragraph():
    first = README.split("\n\n")[1]
    assert "kit at home" in first
    assert "finish" in first


@pytest.mark.parametrize("command", sorted(set(re.findall(r"benchdays ([a-z]+) my-build", README))))
def test_every_command_that_the_readme_names_has_help(command):
    assert f"benchdays {command}" in _run([sys.executable, "-m", "forecast.cli", command, "--help"])


@pytest.mark.parametrize("target", sorted(set(re.findall(r"\]\(([^)#]+)\)", README))))
def test_every_link_of_the_readme_leads_somewhere(target):
    assert (ROOT / target).exists(), target


def test_make_offers_the_five_targets():
    text = (ROOT / "Makefile").read_text(encoding="utf-8")
    for target in ("demo", "test", "check", "bench", "dashboard"):
        assert re.search(rf"^{target}: \.venv/ready", text, flags=re.MULTILINE), target
