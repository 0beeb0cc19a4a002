"""The announced dates, stored in the build folder: what the builder was told is a fact.

`forecasts.csv` only grows. The same dates announced twice on one day are written once.
"""

from __future__ import annotations

from datetime import date

from forecast.files.csv_file import format_record
from forecast.files.storage import change_file
from forecast.files.tables import table_schema
from forecast.quantiles import QUANTILES, quantile_key
from forecast.simulate.outlook import Outlook

FORECASTS = "forecasts.csv"
BUILD = "build"


def store_announced_dates(outlook: Outlook, announced: date) -> None:
    """Append the dates of every open stage and of the build to `forecasts.csv`.

    Parameters
    ----------
    outlook : the forecast
    announced : the day of the announcement

    Raises
    ------
    InputError when the folder cannot be written; then nothing has changed.
    """
    columns = table_schema("forecasts").columns
    rows = [format_record([row[c] for c in columns], ",") for row in announced_rows(outlook, announced)]
    block = "".join(f"{row}\r\n" for row in rows).encode()
    header = f"{format_record(list(columns), ',')}\r\n".encode()

    def with_block(data: bytes) -> bytes:
        if block in data:
            return data
        before = data or header
        return (before if before.endswith(b"\n") else before + b"\r\n") + block

    change_file(outlook.fitted.build.folder / FORECASTS, with_block, keep_version=False)


def announced_rows(outlook: Outlook, announced: date) -> list[dict[str, str]]:
    """One row per open stage, and one for the build, as texts by column.

    Parameters
    ----------
    outlook : the forecast
    announced : the day of the announcement
    """
    targets: list[tuple[str, str | None]] = [(stage, stage) for stage in outlook.open_stages]
    if outlook.open_stages:
        targets.append((BUILD, None))
    return [
        {
            "announced": announced.isoformat(),
            "as_of": outlook.as_of.isoformat(),
            "target": name,
            **{quantile_key(q): _iso(outlook.date_at(q, stage)) for q in QUANTILES},
            "runs": str(outlook.settings.runs),
            "seed": str(outlook.settings.seed),
        }
        for name, stage in targets
    ]


def _iso(day: date | None) -> str:
    return "" if day is None else day.isoformat()
