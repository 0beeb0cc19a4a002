"""The architecture rules that a machine can check: layers, no cycles, short files, no clock, no printing."""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")

# Top to bottom, as in DEVELOPERS.md: a module imports only from entries above its own, or from its own entry.
ORDER = (
    "errors",
    "wording",
    "quantiles",
    "random_streams",
    "compiled",
    "files",
    "intake",
    "learn",
    "simulate",
    "questions",
    "many",
    "present",
    "cli",
)
MOST_ENTRIES = 16
CLOCK_READERS = {"cli"}


def _files(folder: str, root: Path = ROOT) -> list[Path]:
    return sorted(p for p in (root / folder).rglob("*.py") if "__pycache__" not in p.parts)


def _module(file: Path, root: Path) -> str:
    return ".".join(file.relative_to(root).with_suffix("").parts).removesuffix(".__init__")


def _imported_names(file: Path) -> set[tuple[str, str]]:
    """(module, module.name) of every import of a file, also for type checking only and inside functions."""
    found: set[tuple[str, str]] = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {(alias.name, alias.name) for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}: relative import"
            found |= {(node.module or "", f"{node.module}.{alias.name}") for alias in node.names}
    return found


def _imports(root: Path = ROOT) -> dict[str, set[str]]:
    """Module of forecast -> the modules of forecast that it imports.

    `from forecast.learn.effort import priors` imports the module `priors`, not its package.
    """
    files = {_module(f, root): f for f in _files("forecast", root)}
    found = {}
    for name, file in files.items():
        meant = {inner if inner in files else module for module, inner in _imported_names(file)}
        found[name] = (meant & set(files)) - {name}
    return found


def _cycles(imports: dict[str, set[str]]) -> list[list[str]]:
    """Modules that import each other, directly or through others."""
    done: set[str] = set()
    found: list[list[str]] = []

    def visit(module: str, way: list[str]) -> None:
        if module in way:
            found.append([*way[way.index(module) :], module])
        elif module not in done:
            for other in sorted(imports[module]):
                visit(other, [*way, module])
            done.add(module)

    for module in sorted(imports):
        visit(module, [])
    return found


def _entry(module: str) -> str:
    return module.split(".")[1]


def _upward(imports: dict[str, set[str]]) -> list[str]:
    """Imports from an entry that comes later in ORDER."""
    return [
        f"{module} imports {other}"
        for module, others in sorted(imports.items())
        for other in sorted(others)
        if module != "forecast" != other and ORDER.index(_entry(other)) > ORDER.index(_entry(module))
    ]


def test_every_entry_has_a_place_in_the_order():
    entries = {_entry(m) for m in _imports() if m != "forecast"}
    assert entries == set(ORDER), "give each entry a place in ORDER and in DEVELOPERS.md"


def test_modules_import_only_from_earlier_layers():
    assert _upward(_imports()) == []


def test_no_two_modules_import_each_other():
    assert _cycles(_imports()) == []


def test_nothing_inside_imports_the_public_front_page():
    assert [m for m, others in _imports().items() if "forecast" in others] == []


def test_the_top_of_the_package_reads_as_a_table_of_contents():
    files = [p.relative_to(ROOT / "forecast") for p in (ROOT / "forecast").rglob("*") if p.is_file()]
    listed = {file.parts[0] for file in files if "__pycache__" not in file.parts}
    assert len(listed) <= MOST_ENTRIES, sorted(listed)


def test_developers_page_lists_the_layers_in_the_same_order():
    rows = [line for line in DEVELOPERS.splitlines() if line.startswith("| `")]
    named = [row.split("`")[1].removesuffix("/").removesuffix(".py") for row in rows]
    assert [name for name in named if name in ORDER] == list(ORDER)


def test_the_import_checks_can_fail(tmp_path):
    for name, text in {
        "learn/low.py": "from forecast.simulate.high import x\n",
        "simulate/high.py": "if TYPE_CHECKING:\n    import forecast.learn.low\n",
    }.items():
        file = tmp_path / "forecast" / name
        file.parent.mkdir(parents=True)
        file.write_text(text, encoding="utf-8")
    imports = _imports(tmp_path)
    assert _upward(imports) == ["forecast.learn.low imports forecast.simulate.high"]
    assert _cycles(imports) == [["forecast.learn.low", "forecast.simulate.high", "forecast.learn.low"]]


def _roots(file: Path) -> set[str]:
    return {module.split(".")[0] for module, _ in _imported_names(file)}


def test_the_statistics_know_neither_charts_nor_pages():
    for file in _files("forecast"):
        roots = _roots(file)
        assert not roots & {"streamlit", "dashboard", "benchmarks", "tests"}, file
        assert "altair" not in roots or "present" in file.parts, file


def test_the_dashboard_holds_no_statistics():
    for file in _files("dashboard"):
        assert not _roots(file) & {"statsmodels", "sklearn", "scipy", "numba", "benchmarks", "tests"}, file


def test_only_the_command_line_looks_at_a_clock():
    calls = ("date.today(", "datetime.now(", "datetime.today(", "utcnow(")
    readers = {
        _entry(_module(file, ROOT))
        for file in _files("forecast")
        if any(call in file.read_text(encoding="utf-8") for call in calls)
    }
    assert readers == CLOCK_READERS


def test_no_file_is_longer_than_a_reader_can_hold():
    longest = {
        f: len(f.read_text(encoding="utf-8").splitlines())
        for d in ("forecast", "dashboard", "tests", "benchmarks")
        for f in _files(d)
    }
    assert {str(f): n for f, n in longest.items() if n > 420} == {}


def test_nothing_is_called_a_drawer():
    drawers = {"utils", "helpers", "common", "misc"}
    assert not {p.stem for d in ("forecast", "dashboard") for p in _files(d)} & drawers
