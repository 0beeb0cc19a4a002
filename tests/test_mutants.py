"""The faults of the mutation study: where they are put, where they are not, and how they are named."""

import ast

import pytest

from benchmarks.mutants import Mutant, draw, mutants_of


def sites(tmp_path, source: str) -> list[list[Mutant]]:
    file = tmp_path / "module.py"
    file.write_text(source, encoding="utf-8")
    return mutants_of(tmp_path, file)


def results(tmp_path, source: str) -> set[str]:
    """Every text that comes of one fault in the source."""
    return {m.applied(source) for site in sites(tmp_path, source) for m in site}


@pytest.mark.parametrize(("source", "mutated"), [
    ("x = a < b", {"x = a <= b"}),
    ("x = a <= b != c", {"x = a < b != c", "x = a <= b == c"}),
    ("x = a is None", {"x = a is not None"}),
    ("x = a + b * c", {"x = (a - b * c)", "x = a + (b / c)"}),
    ("x = a - (b + c)", {"x = (a + (b + c))", "x = a - ((b - c))"}),
    ("x = a and b", {"x = (a or b)"}),
    ("x = not a", {"x = (a)"}),
    ("x = -a", {"x = (a)"}),
    ("x = max(a, b)", {"x = min(a, b)"}),
    ("x = np.minimum(a, b)", {"x = np.maximum(a, b)"}),
    ("x = a.sum(axis=1)", {"x = a.sum(axis=0)"}),
    ("x = 3", {"x = 4", "x = 6", "x = 0"}),
    ("x = 0.0", {"x = 1.0"}),
    ("x = True", {"x = False"}),
    ("x = a if b else c", {"x = (c if b else a)"}),
    ("x += a", {"x -= a", "pass"}),
    ("x[a] = b", {"pass"}),
    ("f(a)", {"pass"}),
    ("def f(a, b=None): return a", {"def f(a, b=0): return a"}),
    ("def f(a):\n    a = g(a)\n    return a", {"def f(a):\n    pass\n    return a"}),
])  # fmt: skip
def test_each_operator_changes_one_thing(tmp_path, source, mutated):
    assert results(tmp_path, source) == mutated


@pytest.mark.parametrize("source", [
    '"""A text of 3 words."""',
    "def f(a: Annotated[int, 3]) -> Literal[4]:\n    return a",
    "@cached(size=3)\ndef f(a):\n    return a",
    'x = f"{a + 1} of {b}"',
    'x = "a" + b',
    "x = zip(a, b, strict=True)",
    "if TYPE_CHECKING:\n    x = 3",
    "class A:\n    def __repr__(self):\n        return 3",
    "def f():\n    a = g()\n    return a",
])  # fmt: skip
def test_nothing_is_put_into_words_types_and_first_assignments(tmp_path, source):
    assert sites(tmp_path, source) == []


def test_signs_beyond_ascii_before_a_place_do_not_move_it(tmp_path):
    assert "x = g('½', a <= b)" in results(tmp_path, "x = g('½', a < b)")


def test_a_name_survives_edits_elsewhere_and_tells_equal_lines_apart(tmp_path):
    source = "def f(a):\n    a += b\n    a += b\n    return a\n"
    names = [m.name for site in sites(tmp_path, source) for m in site]
    assert len(set(names)) == len(names) == 4
    later = [m.name for site in sites(tmp_path, f"import this\n\n\n{source}") for m in site]
    assert later == names


def test_a_fault_is_named_by_the_function_that_python_enters(tmp_path):
    source = "class A:\n    def f(self):\n        def g(x):\n            return x + y\n        return g\n"
    assert [m.function for site in sites(tmp_path, source) for m in site] == ["A.f"]


def test_the_same_seed_draws_the_same_faults_one_per_place(tmp_path):
    source = "".join(f"x{i} = a < {i}\n" for i in range(20))
    count = len(sites(tmp_path, source))
    file = tmp_path / "module.py"
    drawn = [m.name for m in draw(tmp_path, [file], 1)]
    assert drawn == [m.name for m in draw(tmp_path, [file], 1)]
    assert len(set(drawn)) == count == 40
    assert drawn != [m.name for m in draw(tmp_path, [file], 2)]
    for mutant in draw(tmp_path, [file], 3):
        assert ast.dump(ast.parse(mutant.applied(source))) != ast.dump(ast.parse(source))
