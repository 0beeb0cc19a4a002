"""What the program must not be read as saying, from the table in shared/."""

from __future__ import annotations

import csv
from pathlib import Path

TABLE = Path(__file__).resolve().parents[2] / "shared" / "cautions.csv"


def cautions_table() -> str:
    """The cautions as a Markdown table: topic and country, text, source."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        rows = [
            f"| {_topic(row['topic'], row['country'])} | {row['text']} | {row['source']} |"
            for row in csv.DictReader(file)
        ]
    return "\n".join(["| Topic | Caution | Source |", "|---|---|---|", *rows])


def _topic(topic: str, country: str) -> str:
    return f"{topic} ({country})" if country else topic
