"""Help, version, the options that several commands share, and when garbage is collected."""

import gc
import json
import re
import sys

import pytest
from typer.testing import CliRunner

from forecast import cli
from tests.test_cli import TURNSTONE, benchdays

COMMANDS = (
    "start", "check", "log", "step", "take", "finish", "overruns", "crew", "orders", "tonight", "report",
    "record", "many", "dashboard",
)  # fmt: skip
FORECASTING = ("finish", "overruns", "crew", "orders", "tonight", "report", "record", "many")
# The same option must mean the same everywhere; --stage, --type, --task and --quantity describe a session in
# `log` and a task in `step`.
ABOUT_TWO_THINGS = {"--stage", "--type", "--task", "--quantity"}


def run(*words):
    """A command in this process, on a terminal of 80 columns."""
    return CliRunner().invoke(cli.app, [*map(str, words)], env={"COLUMNS": "80", "TERMINAL_WIDTH": "80"})


def options_of(command):
    """Option -> its help as one line."""
    text = run(command, "-h").stdout.partition("Options:")[2]
    blocks = re.split(r"\n  (?=-)", text)[1:]
    parts = [re.split(r"\s{2,}", block.strip(), maxsplit=1) for block in blocks]
    return {names.split()[0].rstrip(","): " ".join(words.split()) for names, words in parts}


def test_every_command_has_one_uncut_line_in_the_list():
    lines = run("--help").stdout.partition("Commands:\n")[2].splitlines()
    assert [line.split()[0] for line in lines] == list(COMMANDS)
    assert all(len(line) <= 80 and line.endswith(".") and not line.endswith("..") for line in lines)


@pytest.mark.parametrize("command", COMMANDS)
def test_h_and_version_work_everywhere(command):
    assert run(command, "-h").stdout == run(command, "--help").stdout
    for words in (["--version"], [command, "--version"]):
        assert re.fullmatch(r"benchdays \d+\.\d+\.\d+\n", run(*words).stdout)


def test_every_option_says_the_same_everywhere():
    texts: dict[str, set[str]] = {}
    for command in COMMANDS:
        for option, text in options_of(command).items():
            if option not in ABOUT_TWO_THINGS:
                texts.setdefault(option, set()).add(re.sub(r" \[.*\]", "", text))
    # Tonight has a usual length of session to fall back on, a log row has none.
    assert texts.pop("--hours") == {
        "Clock hours, as 2.5 or 2:30.", "Clock hours, as 3 or 2:30 (default: your usual)."
    }  # fmt: skip
    assert {option for option, different in texts.items() if len(different) > 1} == set()


def test_every_option_is_explained_by_one_sentence():
    for command in COMMANDS:
        for option, text in options_of(command).items():
            assert re.fullmatch(r"[A-Z][^.]*(\.[^. ][^.]*)*\.( \[.*\])?", text), f"{command} {option}: {text}"


@pytest.mark.parametrize("command", FORECASTING)
def test_every_forecasting_command_takes_pooled_priors(command):
    assert "--priors" in options_of(command)
    more = ["--ics", "x.ics"] if command == "report" else []
    done = run(command, TURNSTONE, "--priors", "no-such.json", *more)
    assert done.exit_code == 1
    assert "no-such.json: could not be read" in str(done.exception)


@pytest.mark.parametrize("text", ["20260301", "2026-W09-7", "2026-3-1", "1 March"])
def test_a_day_is_typed_as_in_the_files(text):
    done = run("finish", TURNSTONE, "--as-of", text)
    assert str(done.exception) == f"--as-of: {text!r} must be a day such as 2026-03-01."


@pytest.mark.parametrize(("command", "collected"), [("finish", False), ("crew", False), ("record", True),
                                                    ("many", True), ("dashboard", True)])  # fmt: skip
def test_garbage_is_collected_only_in_commands_that_run_for_minutes(command, collected, monkeypatch):
    seen = []
    monkeypatch.setattr(cli, "app", lambda prog_name: seen.append(gc.isenabled()))
    monkeypatch.setattr(sys, "argv", ["benchdays", command, "folder"])
    before = gc.isenabled()
    try:
        gc.enable()
        cli.main()
    finally:
        gc.unfreeze()
        (gc.enable if before else gc.disable)()
    assert seen == [collected]


def test_json_goes_to_standard_output_alone():
    done = benchdays("overruns", TURNSTONE, "--as-of", "2026-03-31", "--json")
    assert json.loads(done.stdout)["types"]
    assert done.stderr == ""
