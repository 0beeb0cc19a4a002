"""Figures printed elsewhere, each with its source, and how closely this program gives them back."""

from pathlib import Path

import pandas as pd

DATA = Path(__file__).parent / "data"


def published_table(name: str) -> pd.DataFrame:
    """A table beside these tests; its last column names the source of each row."""
    return pd.read_csv(DATA / f"{name}.csv", keep_default_na=False)
