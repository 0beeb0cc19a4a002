"""The commands that pages of the documentation show: what is shown, and what they print now.

A block is marked by `<!-- output -->`; its first line is the command. The commands of one page are run in
order in a new folder, on one fixed day. `python -m tests.pages` writes what they print now into the pages,
and into the README.
"""

import os
import re
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path

from tests import printed

ROOT = Path(__file__).resolve().parents[1]
PAGES = (ROOT / "docs" / "first_build.md", ROOT / "docs" / "questions.md")
DAY = "2026-10-03"
_BLOCK = re.compile(r"(<!-- output -->\n```console\n\$ ([^\n]+)\n)(.*?)(```)", flags=re.DOTALL)


def shown(page: Path) -> dict[str, str]:
    """Command -> what the page says that it prints, in the order of the page."""
    return {m[2]: m[3].strip("\n") for m in _BLOCK.finditer(page.read_text(encoding="utf-8"))}


def printed_now(commands: list[str]) -> dict[str, str]:
    """Command -> what it prints, run one after the other in a new folder beside the sample logs."""
    with tempfile.TemporaryDirectory() as place:
        (Path(place) / "sample_logs").symlink_to(ROOT / "sample_logs")
        return {command: _run(command, Path(place)) for command in commands}


def _run(command: str, place: Path) -> str:
    program, *arguments = shlex.split(command)
    assert program == "benchdays", command
    python_path = os.pathsep.join([str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])])
    done = subprocess.run(
        [sys.executable, "-m", "tests.on_a_day", DAY, *arguments],
        cwd=place,
        env={**os.environ, "COLUMNS": "88", "NO_COLOR": "1", "PYTHONPATH": python_path},
        capture_output=True,
        text=True,
        check=False,
        timeout=240,
    )
    assert done.returncode == 0, done.stderr
    return "\n".join(line.rstrip() for line in done.stdout.splitlines()).strip("\n")


def write() -> None:
    """Put what the commands print now into the pages."""
    printed.write()
    for page in PAGES:
        now = printed_now(list(shown(page)))
        text = page.read_text(encoding="utf-8")
        page.write_text(_BLOCK.sub(lambda m, now=now: f"{m[1]}{now[m[2]]}\n{m[4]}", text), encoding="utf-8")


if __name__ == "__main__":
    write()
