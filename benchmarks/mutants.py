"""Small faults put into the source on purpose: where one can be put, and the text with it put in.

A site is a place in the syntax tree at which one operator applies. Strings, docstrings, annotations,
decorators, `__repr__` and `__str__` are left as they are: no test has to notice another wording.
"""

from __future__ import annotations

import ast
import copy
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
    ast.Pow: ast.Mult, ast.Mod: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
    ast.LShift: ast.RShift, ast.RShift: ast.LShift,
}  # fmt: skip
EXTREMES = {"min": "max", "minimum": "maximum", "argmin": "argmax", "any": "all", "floor": "ceil"}
EXTREMES |= {new: old for old, new in EXTREMES.items()}
UNSPOKEN = {"__repr__", "__str__"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One fault at one place.

    Attributes
    ----------
    file : path below the root of the repository
    function : qualified name of the function or class that holds it; "" = the module itself
    line : number of its first line, from 1
    kind : the operator
    change : the change in short, old -> new
    code : the line as it is
    begin, end : places in the text of what is replaced
    text : what it is replaced by
    occurrence : number among mutants of the file that are alike in everything but their place
    """

    file: str
    function: str
    line: int
    kind: str
    change: str
    code: str
    begin: int
    end: int
    text: str
    occurrence: int = 0

    @property
    def name(self) -> str:
        """An identifier that does not depend on line numbers, so that it survives edits elsewhere."""
        parts = (self.file, self.function, self.kind, self.change, self.code, str(self.occurrence))
        return sha256("\0".join(parts).encode()).hexdigest()[:12]

    def applied(self, source: str) -> str:
        """The source of the file with the fault in it."""
        return source[: self.begin] + self.text + source[self.end :]


def mutants_of(root: Path, file: Path) -> list[list[Mutant]]:
    """Every site of one file, each with the mutants that can be put there."""
    source = file.read_text(encoding="utf-8")
    finder = _Finder(str(file.relative_to(root)), source)
    finder.visit(ast.parse(source))
    seen: Counter[tuple[str, ...]] = Counter()
    sites = []
    for site in finder.sites:
        numbered = []
        for mutant in site:
            alike = (mutant.function, mutant.kind, mutant.change, mutant.code)
            numbered.append(replace(mutant, occurrence=seen[alike]))
            seen[alike] += 1
        sites.append(numbered)
    return sites


def draw(root: Path, files: list[Path], seed: int) -> list[Mutant]:
    """One mutant of every site, in an order that the seed sets.

    The order is that of a hash of each mutant's name, so that an edit changes the place of the mutants of
    the edited lines and of no others.
    """

    def rank(name: str) -> str:
        return sha256(f"{seed} {name}".encode()).hexdigest()

    chosen = [
        min(site, key=lambda m: rank(m.name)) for file in files for site in mutants_of(root, file) if site
    ]
    return sorted(chosen, key=lambda m: rank(f"order {m.name}"))


class _Finder(ast.NodeVisitor):
    """Walks one file and notes its sites."""

    def __init__(self, file: str, source: str) -> None:
        self.file, self.source = file, source
        self.lines = source.splitlines(keepends=True)
        self.starts = [0]
        for line in self.lines:
            self.starts.append(self.starts[-1] + len(line))
        self.sites: list[list[Mutant]] = []
        self.within: list[str] = []
        self.bound: list[set[str]] = [set()]

    # Where nothing is put ------------------------------------------------------------------------

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        """Leave messages as they are."""

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        """Mutate the value, which for a field is its default, and not the annotation."""
        if node.value is not None:
            self._default(node.value)
            self.visit(node.value)

    def visit_If(self, node: ast.If) -> None:
        """Leave imports for type checking out."""
        if not (isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"):
            self.generic_visit(node)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        """Walk the body of a class without its decorators."""
        self._body(node)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        """Walk defaults and body of a function without decorators and annotations."""
        if node.name in UNSPOKEN:
            return
        for default in [*node.args.defaults, *filter(None, node.args.kw_defaults)]:
            self._default(default)
            self.visit(default)
        arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
        self.bound.append({a.arg for a in arguments})
        self._body(node)
        self.bound.pop()

    def _body(self, node: ast.ClassDef | ast.FunctionDef) -> None:
        inner = len(self.bound) > 2
        self.within += [] if inner else [node.name]  # a function inside another counts for the outer one
        for statement in node.body:
            self.visit(statement)
        if not inner:
            self.within.pop()

    # The operators -------------------------------------------------------------------------------

    def visit_Compare(self, node: ast.Compare) -> None:
        """Swap a comparison for its neighbour."""
        for at, op in enumerate(node.ops):
            new = copy.deepcopy(node)
            new.ops[at] = COMPARISONS[type(op)]()
            self._site(node, "comparison", [(_sign(op), _sign(new.ops[at]), ast.unparse(new))])
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        """Swap an arithmetic operator."""
        other = ARITHMETIC.get(type(node.op))
        if other and not isinstance(node.left, ast.JoinedStr) and not _is_text(node):
            new = ast.BinOp(node.left, other(), node.right)
            self._site(node, "arithmetic", [(_sign(node.op), _sign(new.op), f"({ast.unparse(new)})")])
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        """Swap and for or."""
        new = ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
        self._site(node, "logic", [(_sign(node.op), _sign(new.op), f"({ast.unparse(new)})")])
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        """Drop a sign or a not."""
        if isinstance(node.op, (ast.Not, ast.USub, ast.Invert)):
            operand = ast.unparse(node.operand)
            self._site(node, "negation", [(ast.unparse(node), operand, f"({operand})")])
        self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        """Swap the two outcomes of a conditional expression."""
        new = ast.IfExp(node.test, node.orelse, node.body)
        self._site(node, "branches", [("a if c else b", "b if c else a", f"({ast.unparse(new)})")])
        self.generic_visit(node)

    def visit_Name(self, node: ast.Name) -> None:
        """Swap min for max and the like."""
        if node.id in EXTREMES and isinstance(node.ctx, ast.Load):
            self._site(node, "extreme", [(node.id, EXTREMES[node.id], EXTREMES[node.id])])

    def visit_Attribute(self, node: ast.Attribute) -> None:
        """Swap minimum for maximum and the like."""
        if node.attr in EXTREMES:
            new = ast.Attribute(node.value, EXTREMES[node.attr])
            self._site(node, "extreme", [(node.attr, EXTREMES[node.attr], ast.unparse(new))])
        self.generic_visit(node)

    def visit_keyword(self, node: ast.keyword) -> None:
        """Swap the axes 0 and 1; `strict=` only guards against faults that no input brings about."""
        value = node.value
        if node.arg == "axis" and isinstance(value, ast.Constant) and value.value in (0, 1):
            new = str(1 - value.value)
            self._site(value, "axis", [(f"axis={value.value}", f"axis={new}", new)])
        elif node.arg != "strict":
            self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        """Change a number or a truth value."""
        self._site(node, "constant", [(ast.unparse(node), new, new) for new in _other_constants(node.value)])

    def _default(self, node: ast.expr) -> None:
        """A default that is no number: None becomes 0, so that leaving it out means something else."""
        if isinstance(node, ast.Constant) and node.value is None:
            self._site(node, "default", [("None", "0", "0")])

    def visit_Assign(self, node: ast.Assign) -> None:
        """Remove the assignment to a part of something, or to a name that has a value already."""
        names = {n.id for t in node.targets for n in ast.walk(t) if isinstance(n, ast.Name)}
        part = isinstance(node.targets[0], (ast.Subscript, ast.Attribute))
        if part or (self.within and names <= self.bound[-1]):
            self._removed(node)
        self.bound[-1] |= names
        self.generic_visit(node)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        """Remove an update, or turn it round."""
        other = ARITHMETIC.get(type(node.op))
        if other:
            new = ast.AugAssign(node.target, other(), node.value)
            self._site(node, "arithmetic", [(f"{_sign(node.op)}=", f"{_sign(new.op)}=", ast.unparse(new))])
        self._removed(node)
        self.generic_visit(node)

    def visit_Expr(self, node: ast.Expr) -> None:
        """Remove a call that is made for what it does; docstrings remain."""
        if isinstance(node.value, ast.Call):
            self._removed(node)
        self.generic_visit(node)

    def visit_Continue(self, node: ast.Continue) -> None:
        """Remove a continue."""
        self._removed(node)

    def visit_Break(self, node: ast.Break) -> None:
        """Turn a break into a continue."""
        self._site(node, "statement", [("break", "continue", "continue")])

    # Noting --------------------------------------------------------------------------------------

    def _removed(self, node: ast.stmt) -> None:
        self._site(node, "statement", [(_short(ast.unparse(node)), "pass", "pass")])

    def _site(self, node: ast.expr | ast.stmt, kind: str, changes: list[tuple[str, str, str]]) -> None:
        begin = self._place(node.lineno, node.col_offset)
        end = self._place(node.end_lineno, node.end_col_offset)
        site = [
            Mutant(
                file=self.file,
                function=".".join(self.within),
                line=node.lineno,
                kind=kind,
                change=f"{old} -> {new}",
                code=self.lines[node.lineno - 1].strip(),
                begin=begin,
                end=end,
                text=text,
            )
            for old, new, text in changes
        ]
        if site:
            self.sites.append(site)

    def _place(self, line: int | None, column: int | None) -> int:
        assert line is not None
        assert column is not None
        before = self.lines[line - 1].encode()[:column].decode()
        return self.starts[line - 1] + len(before)


def _other_constants(value: object) -> Iterator[str]:
    if isinstance(value, bool):
        yield repr(not value)
    elif isinstance(value, (int, float)):
        yield repr(value + 1)
        if value:
            yield repr(value * 2)
            yield repr(type(value)(0))


def _is_text(node: ast.BinOp) -> bool:
    sides = (node.left, node.right)
    return any(isinstance(s, ast.Constant) and isinstance(s.value, str) for s in sides)


def _sign(op: ast.AST) -> str:
    """An operator as it is written."""
    blank = ast.Name("x")
    if isinstance(op, ast.cmpop):
        return ast.unparse(ast.Compare(blank, [op], [blank]))[2:-2]
    if isinstance(op, ast.boolop):
        return ast.unparse(ast.BoolOp(op, [blank, blank]))[2:-2]
    assert isinstance(op, ast.operator)
    return ast.unparse(ast.BinOp(blank, op, blank))[2:-2]


def _short(text: str, most: int = 60) -> str:
    line = " ".join(text.split())
    return line if len(line) <= most else f"{line[: most - 3]}..."
