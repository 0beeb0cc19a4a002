"""What a built site points to: broken links within it, and anything that it would fetch from elsewhere."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

# A page that loads one of these from a host tells that host who reads it, and breaks without a network.
_FETCHED = {("link", "href"), ("a", "ping")} | {
    (tag, name)
    for tag in ("script", "img", "source", "iframe", "video", "audio", "embed", "object", "image", "use")
    for name in ("src", "srcset", "data", "href", "xlink:href", "poster")
}
_CSS_FETCH = re.compile(r"""(?:url\(\s*["']?|@import\s+["'])((?:https?:)?//[^"')\s]+)""")


@dataclass
class Page(HTMLParser):
    """One page: what it can be linked at, what it links to, what it fetches."""

    ids: set[str] = field(default_factory=set)
    links: list[str] = field(default_factory=list)
    fetched: list[str] = field(default_factory=list)
    without_text: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note the ids and addresses of one element."""
        given = {name: value or "" for name, value in attrs}
        self.ids |= {given[name] for name in ("id", "name") if name in given}
        if tag == "a" and "href" in given:
            self.links.append(given["href"])
        self.fetched += [value for name, value in given.items() if value and (tag, name) in _FETCHED]
        self.fetched += _CSS_FETCH.findall(given.get("style", ""))
        if tag == "img" and not given.get("alt"):
            self.without_text.append(given.get("src", ""))


def read_page(text: str) -> Page:
    """Parse one page.

    Examples
    --------
    >>> read_page('<a href="x.html">x</a><img src="a.png" alt="a">').links
    ['x.html']
    """
    page = Page()
    page.feed(text)
    for style in re.findall(r"<style.*?</style>", text, re.DOTALL):
        page.fetched += _CSS_FETCH.findall(style)
    return page


def problems_of_site(folder: Path) -> list[str]:
    """Every problem of the pages and style sheets below a folder, as sentences.

    Problems are: a link to a page or place that is not there, an address of another host in something
    that a browser fetches by itself, and a picture without a text.
    """
    files = sorted(folder.rglob("*.html"))
    pages = {file.resolve(): read_page(file.read_text(encoding="utf-8")) for file in files}
    problems = [] if pages else [f"{folder} holds no page."]
    for file, page in pages.items():
        name = file.relative_to(folder.resolve())
        problems += [f"{name} fetches {address}." for address in page.fetched if _elsewhere(address)]
        problems += [f"{name} shows {address} without a text." for address in page.without_text]
        problems += [
            f"{name} links to {link}, which is not there."
            for link in dict.fromkeys(page.links)
            if not _leads_somewhere(link, file, pages)
        ]
    for sheet in sorted(folder.rglob("*.css")):
        found = _CSS_FETCH.findall(sheet.read_text(encoding="utf-8"))
        problems += [f"{sheet.relative_to(folder)} fetches {address}." for address in found]
    return problems


def _elsewhere(address: str) -> bool:
    parts = urlsplit(address)
    return bool(parts.netloc) or parts.scheme in ("http", "https")


def _leads_somewhere(link: str, file: Path, pages: dict[Path, Page]) -> bool:
    parts = urlsplit(link)
    if parts.scheme or parts.netloc:
        return True  # of another host: not checked, so that the check needs no network
    target = (file.parent / unquote(parts.path)).resolve() if parts.path else file
    if target.is_dir():
        target = target / "index.html"
    if target not in pages:
        return target.is_file() and not parts.fragment
    return not parts.fragment or unquote(parts.fragment) in pages[target].ids


def main(folder: str) -> None:
    """Report the problems of a built site; exit status 1 if there are any."""
    problems = problems_of_site(Path(folder))
    sys.stderr.write("".join(f"{line}\n" for line in problems))
    sys.exit(1 if problems else 0)


if __name__ == "__main__":
    main(sys.argv[1])
