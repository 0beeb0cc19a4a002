"""The scripts of the first page, told to the browser at once: it fetches them while the forecast runs.

Otherwise it asks for them, one after another, just when the server has its hands full.
"""

from __future__ import annotations

import re
from importlib import resources

_NEEDED = (
    "ArrowVegaLiteChart", "loadVegaEmbed", "embed", "vega-interpreter", "Html", "PageLink", "Expander",
    "DownloadButton", "Selectbox", "DateInput",
)  # fmt: skip
_IMPORTED = re.compile(r'(?:from|import)"\./([\w.-]+\.js)"')


def first_page_scripts() -> tuple[str, ...]:
    """Paths of the scripts of the first page's parts, those left out that every page begins with."""
    folder = resources.files("streamlit") / "static"
    texts = {f.name: f for f in (folder / "static" / "js").iterdir() if f.name.endswith(".js")}
    begun = set(re.findall(r"/([\w.-]+\.js)", (folder / "index.html").read_text(encoding="utf-8")))
    wanted = [name for name in sorted(texts) if name.partition(".")[0] in _NEEDED]
    found: list[str] = []
    while wanted:
        name = wanted.pop(0)
        if name in texts and name not in found and name not in begun:
            found.append(name)
            wanted += _IMPORTED.findall(texts[name].read_text(encoding="utf-8"))
    return tuple(f"/static/js/{name}" for name in found)
