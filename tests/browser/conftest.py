"""One browser for all tests; without chromium they are skipped, on CI they fail."""

import os
import shutil
from urllib.parse import urlsplit

import pytest

from tests.browser.driving import CHROMIUM, PHONE, ROOT, WIDE, browser, served
from tests.dashboard_build import write_kit

RUNS = "400"
AS_OF = "2026-06-30"
TRICK = (
    '![x](http://evil.example/p.png) <img src="http://evil.example/i.png" onerror="alert(1)"> $e=mc^2$ =1+1'
)


def pytest_collection_modifyitems(items):
    if CHROMIUM.exists() or os.environ.get("CI") == "true":
        return
    for item in items:
        if "browser" in str(item.path):
            item.add_marker(pytest.mark.skip(reason=f"{CHROMIUM} is not there"))


@pytest.fixture(scope="package")
def chromium():
    """One browser; it is closed before other tests, because it keeps an event loop in this thread."""
    with browser() as context:
        yield context


def opened(chromium):
    """A page on a wide screen with the light theme; it records its requests in `asked`."""
    made = chromium.new_page()
    made.set_viewport_size(WIDE)
    made.emulate_media(color_scheme="light")
    made.asked = []
    made.on("request", lambda request: made.asked.append(request.url))
    return made


def hosts(page):
    """The machines that a page asked for anything."""
    return {urlsplit(url).hostname for url in page.asked if urlsplit(url).scheme not in ("data", "blob")}


@pytest.fixture
def page(chromium):
    made = opened(chromium)
    yield made
    made.close()


@pytest.fixture
def phone(page):
    page.set_viewport_size(PHONE)
    return page


@pytest.fixture(scope="package")
def place(tmp_path_factory):
    """A dashboard on a kit that the tests only look at, whose builder writes tricky texts."""
    folder = write_kit(tmp_path_factory.mktemp("seen"))
    quoted = '"' + TRICK.replace('"', '""') + '"'
    for name, text in (("plan.csv", "Wire hull part 4"), ("log.csv", "swept the shop")):
        path = folder / name
        path.write_text(path.read_text().replace(text, quoted))
    path = folder / "deliveries.csv"
    path.write_text(path.read_text().replace(",Engine,", f",{quoted},"))
    path = folder / "build.toml"
    path.write_text(path.read_text().replace('"Stint two-seater"', f"'{TRICK}'"))
    with served(folder, "--as-of", AS_OF, "--runs", RUNS) as address:
        yield address


@pytest.fixture(scope="module")
def writable(tmp_path_factory):
    """A kit to write to and its dashboard, begun once for all tests of a file."""
    folder = write_kit(tmp_path_factory.mktemp("written") / "own")
    with served(folder, "--runs", RUNS) as address:
        yield folder, address


@pytest.fixture
def own(writable):
    """The kit to write to, as new, and its dashboard: (folder, address)."""
    folder, address = writable
    shutil.rmtree(folder / ".history", ignore_errors=True)
    write_kit(folder)
    return folder, address


@pytest.fixture(scope="module", params=["turnstone", "dunlin", "dinghy"])
def sample(request, chromium, tmp_path_factory):
    """A copy of each sample and a page that shows it: (folder, page)."""
    folder = tmp_path_factory.mktemp("sample") / request.param
    shutil.copytree(ROOT / "sample_logs" / request.param, folder)
    with served(folder, "--runs", RUNS) as address:
        made = opened(chromium)
        made.goto(address)
        yield folder, made
        made.close()
