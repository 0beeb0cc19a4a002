"""What a page is made of: sections with sentences, pictures and tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """The head of one column; figures stand to the right."""

    title: str
    right: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A small table: every cell is a text, the first one names its row."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]

    def __post_init__(self) -> None:
        if any(len(row) != len(self.columns) for row in self.rows):
            raise ValueError(f"Every row of {self.caption!r} must have {len(self.columns)} cells.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A picture, as `pictures.picture` gives it, and how to read it."""

    svg: str
    caption: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One part of the page.

    Attributes
    ----------
    id : its anchor
    title : the question it answers
    answer : what a tired person reads first
    sentences : what is to be said beside it
    figures, tables : shown in this order
    """

    id: str
    title: str
    answer: tuple[str, ...] = ()
    sentences: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = field(default=())
    tables: tuple[Table, ...] = field(default=())


def table(caption: str, columns: Sequence[str], rows: Iterable[Sequence[str]], *, words: int = 0) -> Table:
    """A table whose first column and last `words` columns hold words, and the others figures."""
    last = len(columns) - words
    heads = tuple(Column(title=c, right=0 < n < last) for n, c in enumerate(columns))
    return Table(caption=caption, columns=heads, rows=tuple(tuple(row) for row in rows))
