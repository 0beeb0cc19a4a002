"""The reference tables: published and assumed figures for builds with a short log, each with its source."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from forecast.errors import UsageError

if TYPE_CHECKING:
    import pandas as pd

METHOD_READERS = ("builders", "statisticians")
_INSTALLED = Path(__file__).parents[1] / "schemas" / "reference_tables"
_CHECKOUT = Path(__file__).parents[2] / "shared"


def reference_names() -> tuple[str, ...]:
    """Names of the reference tables, sorted."""
    return tuple(sorted(path.stem for path in _folder().glob("*.csv")))


def reference_path(name: str) -> Path:
    """Path of a reference table: in the wheel when installed, in shared/ in a checkout.

    Raises
    ------
    UsageError : for a name that is not a table; the message lists the tables

    Examples
    --------
    >>> reference_path("learning_rates").name
    'learning_rates.csv'
    """
    if name not in reference_names():
        raise UsageError(f"There is no reference table {name!r}, only: {', '.join(reference_names())}.")
    return _folder() / f"{name}.csv"


def method_page(reader: str) -> str:
    """The method in two printed pages of Markdown, for "builders" or for "statisticians".

    Raises
    ------
    UsageError : for any other reader

    Examples
    --------
    >>> method_page("builders").startswith("#")
    True
    """
    if reader not in METHOD_READERS:
        raise UsageError(f"The method is described for {' and '.join(METHOD_READERS)}, not for {reader!r}.")
    return (_folder() / "method" / f"for_{reader}.md").read_text(encoding="utf-8")


def reference_table(name: str) -> pd.DataFrame:
    """One reference table: one row per figure, each with its `source`; blank text cells stay "".

    Raises
    ------
    UsageError : for a name that is not a table

    Examples
    --------
    >>> group = reference_table("group_work").set_index("people")
    >>> float(group.loc[2, "person_hours_factor"])
    1.14
    """
    import pandas as pd

    return pd.read_csv(reference_path(name), keep_default_na=False, encoding="utf-8")


def _folder() -> Path:
    return _INSTALLED if _INSTALLED.is_dir() else _CHECKOUT
