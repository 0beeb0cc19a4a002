"""Pictures of every page: wide, on a phone, and dark. `python -m tests.browser.pictures [FOLDER]`."""

import sys
from pathlib import Path

from playwright.sync_api import Page

from tests.browser.driving import PHONE, ROOT, WIDE, browser, served, settle, work_done

PICTURES = ROOT / "pictures"
SAMPLE = ROOT / "sample_logs" / "turnstone"
AS_OF = "2026-09-30"
MODES = {"wide": (WIDE, "light"), "phone": (PHONE, "light"), "dark": (WIDE, "dark")}
_TALLEST = 8000


def page_names(page: Page) -> dict[str, str]:
    """The pages that are offered: address -> name of its picture."""
    links = page.locator("[data-testid=stSidebarNavLink]")
    addresses = [links.nth(i).get_attribute("href") for i in range(links.count())]
    found = {}
    for address in addresses:
        last = str(address).rstrip("/").rpartition("/")[2]
        found[str(address)] = "finish-dates" if ":" in last or not last else last
    return found


def take(page: Page, path: Path) -> None:
    """The whole page, however far it scrolls in its own frame."""
    size = page.viewport_size
    height = page.evaluate("document.querySelector('.stMain').scrollHeight")
    page.set_viewport_size({"width": size["width"], "height": min(height + 10, _TALLEST)})
    page.wait_for_timeout(400)
    page.screenshot(path=str(path))
    page.set_viewport_size(size)


def main(folder: Path) -> None:
    """Take every picture."""
    PICTURES.mkdir(exist_ok=True)
    with served(folder, "--as-of", AS_OF) as place, browser() as context:
        page = context.new_page()
        page.set_viewport_size(WIDE)
        page.goto(place)
        settle(page)
        page.wait_for_selector("text=10,000 runs", timeout=180_000)
        names = page_names(page)
        for mode, (size, scheme) in MODES.items():
            page.set_viewport_size(size)
            page.emulate_media(color_scheme=scheme)
            for address, name in names.items():
                page.goto(address if address.startswith("http") else f"{place}{address}")
                settle(page, charts=False)
                work_done(page)
                page.wait_for_timeout(800)
                take(page, PICTURES / f"{name}-{mode}.png")
                sys.stdout.write(f"pictures/{name}-{mode}.png\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else SAMPLE)
