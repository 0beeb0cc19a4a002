"""The house rules that a machine can keep: one direction of imports, short files, no clock, no printing."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

# Left to right; a part imports only from parts that stand before it, or from its own group.
ORDER = [
    {
        "errors",
        "csv_file",
        "fields",
        "tables",
        "scores",
        "learning",
        "reference",
        "compiled",
        "words",
        "mixture",
    },
    {"plan", "logbook", "build_settings", "folder", "storage"},
    {"intake", "progress", "entry", "amend"},
    {"pickable"},
    {"effort", "bench_time", "deliveries", "pooled_priors"},
    {"schedule", "first_use"},
    {"synthetic"},
    {"what_if", "chunk", "outlook"},
    {
        "crew",
        "criticality",
        "overruns",
        "orders",
        "tonight",
        "readiness",
        "hours_summary",
        "track_record",
        "announced",
        "burn_down",
        "moved",
        "bench_record",
        "practice",
        "held_draws",
    },
    {"many"},
    {"report", "report_choices", "report_many", "report_page", "calendar", "evening"},
    {"cli"},
]
PLACE = {part: place for place, group in enumerate(ORDER) for part in group}
CLOCK_READERS = {"cli"}


def _files(folder: str) -> list[Path]:
    return sorted(p for p in (ROOT / folder).rglob("*.py") if "__pycache__" not in p.parts)


def _part(file: Path) -> str:
    return file.relative_to(ROOT / "forecast").parts[0].removesuffix(".py")


def _imports(file: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}: relative import"
            found |= {node.module or ""} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def _parts_imported(file: Path) -> set[str]:
    names = {name.split(".")[1] for name in _imports(file) if name.startswith("forecast.")}
    return {n for n in names if n in PLACE}


@pytest.mark.parametrize("file", _files("forecast"), ids=lambda f: str(f.relative_to(ROOT)))
def test_imports_go_one_way_through_the_house(file):
    part = _part(file)
    if part == "__init__":
        return
    assert part in PLACE, f"{part} has no place in the house: give it one here and in DEVELOPERS.md"
    late = {p for p in _parts_imported(file) if PLACE[p] > PLACE[part]}
    assert not late, f"{file.name} imports {late}, which stand after it"


def test_the_order_check_can_fail(tmp_path):
    file = tmp_path / "learning.py"
    file.write_text("from forecast.outlook import Outlook\n", encoding="utf-8")
    assert {PLACE[p] > PLACE["learning"] for p in _parts_imported(file)} == {True}


@pytest.mark.parametrize("file", _files("forecast"), ids=lambda f: str(f.relative_to(ROOT)))
def test_the_statistics_know_neither_charts_nor_pages(file):
    roots = {name.split(".")[0] for name in _imports(file)}
    assert not roots & {"streamlit", "dashboard"}
    assert "altair" not in roots or _part(file) == "report_page"


@pytest.mark.parametrize("file", _files("dashboard"), ids=lambda f: str(f.relative_to(ROOT)))
def test_the_dashboard_holds_no_statistics(file):
    roots = {name.split(".")[0] for name in _imports(file)}
    assert not roots & {"statsmodels", "sklearn", "scipy", "numba"}


@pytest.mark.parametrize("file", _files("forecast"), ids=lambda f: str(f.relative_to(ROOT)))
def test_only_the_door_looks_at_a_clock(file):
    text = file.read_text(encoding="utf-8")
    reads = any(call in text for call in ("date.today(", "datetime.now(", "datetime.today(", "utcnow("))
    assert not reads or _part(file) in CLOCK_READERS


@pytest.mark.parametrize(
    "file",
    [*_files("forecast"), *_files("dashboard"), *_files("tests")],
    ids=lambda f: str(f.relative_to(ROOT)),
)
def test_no_file_is_longer_than_a_reader_can_hold(file):
    assert len(file.read_text(encoding="utf-8").splitlines()) <= 420


def test_nothing_is_called_a_drawer():
    drawers = {"utils", "helpers", "common", "misc"}
    assert not {p.stem for p in [*_files("forecast"), *_files("dashboard")]} & drawers
