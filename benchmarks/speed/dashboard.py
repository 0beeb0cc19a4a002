"""How long the dashboard takes, in a browser: the first chart, a change of page, a slider.

    python -m benchmarks.speed.dashboard [--laps 3] [--only turnstone|large]

Two builds: the sample that `make demo` shows, and an invented one of which more than 500 tasks are open. Each
is opened in a process of its own, with 10,000 runs, by a browser that asks for the page as soon as the server
answers; a forecast was made once before, so that the loops are compiled. A change of page is measured from
the click in the list of pages until the answer and every chart of the other page are drawn and nothing runs
any more; every page was opened once before. A slider is measured from the key to the new answer and its
charts, which may be a first look from the first of the runs, and then until all the runs are shown.
Writes dashboard.md beside this file.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from importlib.metadata import version
from pathlib import Path

from playwright.sync_api import Page

from benchmarks.invented.workshop import make_build, write_build
from forecast.files.folder import read_build
from forecast.learn.progress import read_progress
from tests.browser.driving import ROOT, WIDE, browser, served

RUNS, SEED, TASKS, DONE = 10_000, 5, 600, 0.2
WANTED = {"first chart": 5.0, "page": 0.5, "slider": 1.0}
_LONGEST_MS = 600_000
_LOOKED_AT_MS = 5_000
_YARDSTICK_SECONDS = 0.5
_WATCH = """
window.spent = (begin, ready) => new Promise(done => {
  const from = performance.now();
  begin();
  const look = () => ready() ? done((performance.now() - from) / 1000) : requestAnimationFrame(look);
  requestAnimationFrame(look);
});
window.still = () => document.querySelector('.stApp')?.dataset.testScriptState === 'notRunning'
  && !document.querySelector('[data-stale=true]');
window.charts = () => document.querySelectorAll('[data-testid=stVegaLiteChart] svg.marks').length;
window.working = () => [...document.querySelectorAll('[data-testid=stCaptionContainer]')]
  .some(e => /^(A first look|Looking|Tracing|Drawing|Playing|Forecasting)/.test(e.innerText));
window.said = () => [...document.querySelectorAll('.stMain h1, .stMain h3, .stMain [data-testid=stText]')]
  .map(e => e.innerText).join('|');
"""


@contextmanager
def sample() -> Iterator[tuple[Path, str]]:
    """A copy of the sample and the day on which it is looked at."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "turnstone"
        shutil.copytree(ROOT / "sample_logs" / "turnstone", folder)
        yield folder, "2026-09-30"


@contextmanager
def large() -> Iterator[tuple[Path, str]]:
    """A build of which more than 500 tasks are open."""
    made = make_build(tasks=TASKS, seed=SEED, builders=2)
    day = made.cut(DONE)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "large"
        write_build(made, folder, until=day)
        yield folder, day.isoformat()


Row = tuple[str, list[float], float | None]
BUILDS = {"turnstone": sample, "large": large}


def first_look(page: Page, place: str) -> dict[str, float]:
    """Seconds from asking for the page to its answer, its first chart, and the end of all background work."""
    begun = time.perf_counter()
    page.goto(place, wait_until="commit")
    page.wait_for_selector("h1")
    answer = time.perf_counter() - begun
    page.wait_for_selector("[data-testid=stVegaLiteChart] svg.marks")
    chart = time.perf_counter() - begun
    page.wait_for_selector(f"text={RUNS:,} runs", timeout=_LONGEST_MS)
    return {"answer": answer, "first chart": chart, "all runs": time.perf_counter() - begun}


def warmed(page: Page) -> list[tuple[str, str, int]]:
    """Open every page once and wait until nothing is worked out any more: (name, answer, charts) of each."""
    links = page.locator("[data-testid=stSidebarNavLink]")
    found = []
    for i in range(links.count()):
        links.nth(i).click()
        name = links.nth(i).inner_text().strip()
        page.wait_for_timeout(300)
        _wait_for_the_last_figure(page)
        found.append((name, page.locator("h1").inner_text(), int(page.evaluate("charts()"))))
    return found


def _wait_for_the_last_figure(page: Page) -> None:
    """Until nothing is worked out any more and the page has been the same for a second."""
    same, before, until = 0, "", time.monotonic() + _LONGEST_MS / 1000
    while same < 3:
        assert time.monotonic() < until, before
        page.wait_for_timeout(500)
        now = str(page.evaluate("[said(), charts(), still(), working()].join()"))
        same = same + 1 if now == before and now.endswith(",true,false") else 0
        before = now


def switch(page: Page, name: str, answer: str, charts: int) -> float:
    """Seconds for one change of page."""
    return float(
        page.evaluate(
            """([name, answer, charts]) => spent(
              () => [...document.querySelectorAll('[data-testid=stSidebarNavLink]')]
                .find(a => a.innerText.trim() === name).click(),
              () => still() && window.charts() === charts
                && document.querySelector('h1')?.innerText === answer)""",
            [name, answer, charts],
        )
    )


def slide(page: Page, key: str, *, which: int = 0) -> tuple[float, float]:
    """Seconds from one key on the slider to the new figures, and until they are those of all runs."""
    page.get_by_role("slider").nth(which).focus()
    page.evaluate("window.before = said()")
    begun = time.perf_counter()
    page.keyboard.press(key)
    page.wait_for_function("said() !== window.before && still() && charts() > 0", polling="raf")
    answered = time.perf_counter() - begun
    page.wait_for_function("still() && charts() > 0 && !working()", polling="raf")
    return answered, time.perf_counter() - begun


def measure(name: str, laps: int) -> list[str]:
    """The rows of one build."""
    with BUILDS[name]() as (folder, day), browser() as context:
        build = read_build(folder)
        left = len(read_progress(build.plan, build.sessions, date.fromisoformat(day)).open_tasks)
        page = context.new_page()
        page.add_init_script(_WATCH)
        page.set_viewport_size(WIDE)
        page.set_default_timeout(_LONGEST_MS)
        finish = [sys.executable, "-m", "forecast.cli", "finish", str(folder), "--runs", "500", "--no-keep"]
        subprocess.run(finish, cwd=ROOT, check=True, capture_output=True)
        begun = time.perf_counter()
        with served(folder, "--as-of", day, "--runs", str(RUNS)) as place:
            rows = [("from the command until the server answers", [time.perf_counter() - begun], None)]
            for what, seconds in first_look(page, place).items():
                rows.append((f"from asking for the page to its {what}", [seconds], WANTED.get(what)))
            rows += page_rows(page, laps) + slider_rows(page, laps)
    head = f"{name}: {left} open tasks of {len(build.plan.tasks)}, {len(build.sessions)} sessions"
    return [f"## {head}", "", "| measure | seconds, middle | longest | wanted |", "|---|---|---|---|"] + [
        f"| {what} | {statistics.median(s):.2f} | {max(s):.2f} | {'' if w is None else f'under {w:g}'} |"
        for what, s, w in rows
    ]


def page_rows(page: Page, laps: int) -> list[Row]:
    """Changes to every page, in the order of the list, lap by lap."""
    pages = warmed(page)
    times: dict[str, list[float]] = {title: [] for title, _, _ in pages}
    for _ in range(laps):
        for title, answer, charts in pages:
            times[title].append(switch(page, title, answer, charts))
            page.wait_for_timeout(300)
    return [(f"to the page {title}", seconds, WANTED["page"]) for title, seconds in times.items()]


def slider_rows(page: Page, laps: int) -> list[Row]:
    """Hours of a second builder that were not asked before, and back to some that were."""
    page.locator("[data-testid=stSidebarNav]").get_by_text("Solo or two", exact=True).click()
    _wait_for_the_last_figure(page)
    far = [slide(page, key) for key in ("End", "Home")]
    page.wait_for_timeout(_LOOKED_AT_MS)
    near = []
    for _ in range(laps):
        near.append(slide(page, "ArrowRight"))
        page.wait_for_timeout(_LOOKED_AT_MS)
    other = [slide(page, "PageUp", which=1) for _ in range(laps)]
    rows: list[Row] = []
    for what, found in (
        ("one step on, after five seconds of looking", near),
        ("to either end, at once", far),
        ("another day to begin, not foreseen", other),
    ):
        answers, wholes = zip(*found, strict=True)
        rows.append((f"slider: {what}", list(answers), WANTED["slider"]))
        rows.append((f"slider: {what}, from all runs", list(wholes), None))
    return rows


def share_of_a_core() -> float:
    """Which part of one core a process gets now: 1 on a machine with nothing else to do."""
    wall, used, count = time.perf_counter(), time.process_time(), 0
    while time.process_time() - used < _YARDSTICK_SECONDS:
        count += 1
    return (time.process_time() - used) / (time.perf_counter() - wall)


def main() -> None:
    """Measure and write dashboard.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--laps", type=int, default=3)
    parser.add_argument("--only", choices=list(BUILDS))
    parser.add_argument("--out", type=Path, default=Path(__file__).with_suffix(".md"))
    asked = parser.parse_args()
    lines = [
        "# Speed of the dashboard",
        "",
        f"`python -m benchmarks.speed.dashboard --laps {asked.laps}`; {RUNS:,} runs, seed {SEED} for the "
        f"large build; {os.cpu_count()} cores; Python {platform.python_version()}, "
        f"streamlit {version('streamlit')}, altair {version('altair')}, numba {version('numba')}.",
    ]
    for name in [asked.only] if asked.only else list(BUILDS):
        shares = [share_of_a_core()]
        rows = measure(name, asked.laps)
        shares.append(share_of_a_core())
        rows += ["", f"A single process got {shares[0]:.2f} of a core before and {shares[1]:.2f} after."]
        print("\n".join(rows), flush=True)
        lines += ["", *rows]
    asked.out.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
