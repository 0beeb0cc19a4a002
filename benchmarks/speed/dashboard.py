"""How long the dashboard takes, in a browser: the first chart, a change of page, a slider.

    python -m benchmarks.speed.dashboard [--laps 3] [--only turnstone|large]

Two builds: the sample that `make demo` shows, and an invented one with more than 500 open tasks. Each is
opened in a process of its own, with 10,000 runs, by a browser that requests the page as soon as the server
answers; one forecast is made before, so that the loops are compiled. A change of page is measured from the
click in the list of pages until the answer and every chart of the other page are drawn and nothing runs any
more; every page was opened once before. A slider is measured from the key to the new answer and its charts,
which may be a preview from the first of the runs, and then until all runs are shown.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

from playwright.sync_api import Page

from benchmarks.invented.workshop import make_build, write_build
from benchmarks.pages import markdown, versions, write_page
from forecast.files.folder import read_build
from forecast.learn.progress import read_progress
from tests.browser.driving import ROOT, WIDE, browser, served

RUNS, SEED, TASKS, DONE = 10_000, 5, 600, 0.2
TARGETS = {"first chart": 5.0, "page": 0.5, "slider": 1.0}
_LONGEST_MS = 600_000
_READING_MS = 5_000  # how long a reader looks at an answer
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
  .some(e => e.innerText.trim().endsWith('...'));
window.shown = () => [...document.querySelectorAll('.stMain h1, .stMain h3, .stMain [data-testid=stText]')]
  .map(e => e.innerText).join('|');
"""


@contextmanager
def sample() -> Iterator[tuple[Path, str]]:
    """A copy of the sample, and the day of the forecast."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "turnstone"
        shutil.copytree(ROOT / "sample_logs" / "turnstone", folder)
        yield folder, "2026-09-30"


@contextmanager
def large() -> Iterator[tuple[Path, str]]:
    """A build with more than 500 open tasks, and the day of the forecast."""
    made = make_build(tasks=TASKS, seed=SEED, builders=2)
    day = made.cut(DONE)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "large"
        write_build(made, folder, until=day)
        yield folder, day.isoformat()


Row = tuple[str, list[float], float | None]
BUILDS = {"turnstone": sample, "large": large}


def first_look(page: Page, place: str) -> dict[str, float]:
    """Seconds from the request to the answer, the first chart, and the end of all background work."""
    begun = time.perf_counter()
    page.goto(place, wait_until="commit")
    page.wait_for_selector("h1")
    answer = time.perf_counter() - begun
    page.wait_for_selector("[data-testid=stVegaLiteChart] svg.marks")
    chart = time.perf_counter() - begun
    page.wait_for_selector(f"text={RUNS:,} runs", timeout=_LONGEST_MS)
    return {"answer": answer, "first chart": chart, "all runs": time.perf_counter() - begun}


def warmed(page: Page) -> list[tuple[str, str, int]]:
    """Open every page once until nothing is computed any more: (name, answer, charts) of each."""
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
    """Wait until nothing is computed any more and the page has not changed for a second."""
    same, before, until = 0, "", time.monotonic() + _LONGEST_MS / 1000
    while same < 3:
        assert time.monotonic() < until, before
        page.wait_for_timeout(500)
        now = str(page.evaluate("[shown(), charts(), still(), working()].join()"))
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
    """Seconds from one key on the slider to the new figures, and until they show all runs."""
    page.get_by_role("slider").nth(which).focus()
    page.evaluate("window.before = shown()")
    begun = time.perf_counter()
    page.keyboard.press(key)
    page.wait_for_function("shown() !== window.before && still() && charts() > 0", polling="raf")
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
                rows.append((f"from the request to the {what}", [seconds], TARGETS.get(what)))
            rows += page_rows(page, laps) + slider_rows(page, laps)
    head = f"{name}: {left} open tasks of {len(build.plan.tasks)}, {len(build.sessions)} sessions"
    cells = (
        [what, f"{statistics.median(s):.2f}", f"{max(s):.2f}", "" if target is None else f"under {target:g}"]
        for what, s, target in rows
    )
    return [f"## {head}", "", *markdown(["measure", "seconds, median", "longest", "target"], cells)]


def page_rows(page: Page, laps: int) -> list[Row]:
    """Changes to every page, in the order of the list, lap by lap."""
    pages = warmed(page)
    times: dict[str, list[float]] = {title: [] for title, _, _ in pages}
    for _ in range(laps):
        for title, answer, charts in pages:
            times[title].append(switch(page, title, answer, charts))
            page.wait_for_timeout(300)
    return [(f"to the page {title}", seconds, TARGETS["page"]) for title, seconds in times.items()]


def slider_rows(page: Page, laps: int) -> list[Row]:
    """Hours of a second builder that are new to the dashboard, and some that are cached."""
    page.locator("[data-testid=stSidebarNav]").get_by_text("Solo or two", exact=True).click()
    _wait_for_the_last_figure(page)
    far = [slide(page, key) for key in ("End", "Home")]
    page.wait_for_timeout(_READING_MS)
    near = []
    for _ in range(laps):
        near.append(slide(page, "ArrowRight"))
        page.wait_for_timeout(_READING_MS)
    other = [slide(page, "PageUp", which=1) for _ in range(laps)]
    rows: list[Row] = []
    for what, found in (
        ("one step, after five seconds of reading", near),
        ("to either end, at once", far),
        ("another start day, not prefetched", other),
    ):
        answers, wholes = zip(*found, strict=True)
        rows.append((f"slider: {what}", list(answers), TARGETS["slider"]))
        rows.append((f"slider: {what}, from all runs", list(wholes), None))
    return rows


def share_of_a_core() -> float:
    """The share of one core that a process gets now: 1 on an idle machine."""
    wall, used, count = time.perf_counter(), time.process_time(), 0
    while time.process_time() - used < _YARDSTICK_SECONDS:
        count += 1
    return (time.process_time() - used) / (time.perf_counter() - wall)


def main() -> None:
    """Run the study and write dashboard.md."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--laps", type=int, default=3)
    parser.add_argument("--only", choices=list(BUILDS), help="one build (default: both)")
    given = parser.parse_args()
    libraries = versions("streamlit", "altair", "numba", python=True)
    lines = [
        "# Speed of the dashboard",
        "",
        f"`python -m benchmarks.speed.dashboard --laps {given.laps}`; {RUNS:,} runs, seed {SEED} for the "
        f"large build; {os.cpu_count()} cores; {libraries}.",
    ]
    for name in [given.only] if given.only else list(BUILDS):
        before = share_of_a_core()
        rows = measure(name, given.laps)
        rows += ["", f"A single process got {before:.2f} of a core before and {share_of_a_core():.2f} after."]
        lines += ["", *rows]
    write_page(__file__, lines)


if __name__ == "__main__":
    main()
