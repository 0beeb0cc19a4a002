"""build.toml: who builds what, and the limits of the shop."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from forecast.errors import InputError, Problem
from forecast.files.csv_file import decode_text
from forecast.files.logbook import Builder
from forecast.files.plan import Limit
from forecast.files.tables import read_date

FILE = "build.toml"
# The exceptions of tomllib have no line number before Python 3.14, only this text.
_TOML_PLACE = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)")
_ALLOWED = {
    "name": "must be a text in quotes",
    "country": "must be an ISO 3166 code of two capital letters, such as GB",
    "builder": "must be written as [[builder]], with an id",
    "limit": "must be written as [[limit]], with an id and an amount",
    "builder.id": "must be a text in quotes without spaces or +, and not only digits",
    "builder.joins": "must be a date that exists, written YYYY-MM-DD",
    "builder.weekly_hours": "must be a number above 0 and at most 168",
    "limit.id": "must be a text in quotes without spaces, : or @",
    "limit.amount": "must be a number above 0",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildSettings:
    """The contents of build.toml; `country` is None when no public holidays are known for it."""

    name: str
    country: str | None
    builders: tuple[Builder, ...]
    limits: tuple[Limit, ...]


def read_settings(data: bytes) -> tuple[BuildSettings | None, list[Problem], list[str]]:
    """Read and validate build.toml.

    Returns
    -------
    settings : None when the file is not valid as a whole
    problems : everything wrong with it
    notices : sentences about what is ignored

    Examples
    --------
    >>> settings, problems, notices = read_settings(b'name = "Tern"\\n[[builder]]\\nid = "A"\\n')
    >>> settings.builders
    (Builder(id='A', joins=None, weekly_hours=None),)
    >>> print(read_settings(b'[[builder]]\\nid = 1\\n')[1][0])
    build.toml, builder 1, id: '1' must be a text in quotes without spaces or +, and not only digits.
    """
    try:
        found = tomllib.loads(decode_text(data, FILE).replace("\r\n", "\n"))
    except InputError as error:
        return None, list(error.problems), []
    except tomllib.TOMLDecodeError as error:
        return None, [_not_toml(error)], []
    except ValueError:  # Python refuses to convert integers of thousands of digits
        return None, [Problem(FILE, None, "", "", "contains a number that is too long to read")], []
    except RecursionError:
        return None, [Problem(FILE, None, "", "", "contains brackets that are nested too deeply to read")], []
    try:
        read = _Settings.model_validate(found)
    except ValidationError as error:
        return None, [_problem(e) for e in error.errors()] + _repeated_ids(found), []
    known = read.country is None or _has_known_holidays(read.country)
    no_holidays = f"{FILE}: no public holidays are known for {read.country}, so none are counted."
    notices = [] if known else [no_holidays]
    settings = BuildSettings(
        name=read.name,
        country=read.country if known else None,
        builders=tuple(Builder(id=b.id, joins=b.joins, weekly_hours=b.weekly_hours) for b in read.builder),
        limits=tuple(Limit(id=x.id, amount=x.amount) for x in read.limit),
    )
    return settings, _repeated_ids(found), [*_unknown_keys(read), *notices]


def _has_known_holidays(country: str) -> bool:
    import holidays

    try:
        holidays.country_holidays(country)
    except NotImplementedError:
        return False
    return True


def _iso_day(value: Any) -> Any:
    """Accept a day in quotes as well as a TOML date, but no day with a time."""
    return (read_date(value) or value) if isinstance(value, str) else value


def _not_only_digits(value: str) -> str:
    if value.isdigit():
        raise ValueError("only digits")
    return value


class _TomlTable(BaseModel):
    model_config = ConfigDict(strict=True, extra="allow", allow_inf_nan=False)


class _Builder(_TomlTable):
    id: Annotated[str, Field(pattern=r"^[^\s+]+$", max_length=60), AfterValidator(_not_only_digits)]
    joins: Annotated[date | None, BeforeValidator(_iso_day)] = Field(
        default=None, ge=date(1950, 1, 1), le=date(2199, 12, 31)
    )
    weekly_hours: float | None = Field(default=None, gt=0, le=168)  # the hours of a week


class _Limit(_TomlTable):
    id: str = Field(pattern=r"^[^\s:@]+$", max_length=60)
    amount: float = Field(gt=0)


class _Settings(_TomlTable):
    name: str = ""
    country: str | None = Field(default=None, pattern=r"^[A-Z]{2}$")
    builder: list[_Builder] = Field(min_length=1)
    limit: list[_Limit] = []


def _not_toml(error: tomllib.TOMLDecodeError) -> Problem:
    message = str(error)
    place = _TOML_PLACE.search(message)
    line = int(place[1]) if place and place[1] else None
    reason = _TOML_PLACE.sub("", message)
    return Problem(FILE, line, "", "", f"is not TOML: {reason[:1].lower()}{reason[1:]}")


def _problem(error: Any) -> Problem:
    path = [part for part in error["loc"] if isinstance(part, str)]
    allowed = _ALLOWED.get(".".join(path[:2]), "is not understood")
    place = _place(error["loc"])
    if error["type"] in ("missing", "too_short") or error["input"] is None:
        return Problem(FILE, None, place, "", f"is missing: {allowed.removeprefix('must be ')}")
    return Problem(FILE, None, place, str(error["input"]), allowed)


def _place(loc: tuple[str | int, ...]) -> str:
    """('builder', 0, 'id') as 'builder 1, id'."""
    words: list[str] = []
    for part in loc:
        if isinstance(part, int):
            words[-1] = f"{words[-1]} {part + 1}"
        else:
            words.append(part)
    return ", ".join(words)


def _repeated_ids(found: dict[str, Any]) -> list[Problem]:
    problems = []
    for table in ("builder", "limit"):
        entries = found.get(table)
        ids = [e.get("id") for e in entries if isinstance(e, dict)] if isinstance(entries, list) else []
        problems += [
            Problem(FILE, None, f"{table} {i + 1}, id", name, "must be unique")
            for i, name in enumerate(ids)
            if isinstance(name, str) and name in ids[:i]
        ]
    return problems


def _unknown_keys(read: _Settings) -> list[str]:
    keys = list(read.model_extra or {})
    keys += [f"builder.{key}" for b in read.builder for key in b.model_extra or {}]
    keys += [f"limit.{key}" for x in read.limit for key in x.model_extra or {}]
    unknown = ", ".join(dict.fromkeys(keys))
    return [f"{FILE}: unknown keys, ignored: {unknown}."] if unknown else []
