"""The tables that the method pages quote from benchmarks/, and how to bring them together.

A quotation is between `<!-- quoted: FILE | HEADING | COLUMNS -->` and `<!-- end -->`: the first table
below that heading (the first of the file where none is named), those columns of it (all where none are).
`python -m tests.quoted` writes what the studies say now into the pages.
"""

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGES = tuple(sorted((ROOT / "shared" / "method").glob("*.md")))
_QUOTATION = re.compile(r"(<!-- quoted: ([^|]*?) \|([^|]*)\|([^|]*?) ?-->\n)(.*?)(<!-- end -->)", re.DOTALL)


def cells(row: str) -> list[str]:
    """The cells of one row of a Markdown table."""
    return [cell.strip() for cell in row.strip().strip("|").split("|")]


def table_of(file: str, heading: str, columns: str) -> str:
    """The quoted table, as it is in its file now."""
    lines = (ROOT / file).read_text(encoding="utf-8").splitlines()
    if heading:
        lines = lines[next(i for i, line in enumerate(lines) if line.lstrip("# ") == heading) :]
    first = next(i for i, line in enumerate(lines) if line.startswith("|"))
    rows = []
    for line in lines[first:]:
        if not line.startswith("|"):
            break
        rows.append(cells(line))
    wanted = [c.strip() for c in columns.split(",")] if columns.strip() else rows[0]
    at = [rows[0].index(c) for c in wanted]
    return "".join(f"| {' | '.join(row[i] for i in at)} |\n" for row in rows)


def quotations(page: Path) -> list[tuple[str, str]]:
    """What a page quotes, beside what the file says now."""
    found = _QUOTATION.findall(page.read_text(encoding="utf-8"))
    return [
        (block, table_of(file, heading.strip(), columns)) for _, file, heading, columns, block, _ in found
    ]


def with_quotations(text: str) -> str:
    """A page with every quotation as its file says now."""
    return _QUOTATION.sub(
        lambda m: f"{m[1]}{table_of(m[2], m[3].strip(), m[4])}{m[6]}",
        text,
    )


def write() -> None:
    """Bring the pages up to date."""
    for page in PAGES:
        page.write_text(with_quotations(page.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    write()
