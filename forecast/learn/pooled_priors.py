"""Priors pooled from many builds, as they travel: one small JSON file of distributions.

The file holds numbers and the names of types of work that several builds share; no row, note, title or
name of a builder. What it does not speak of (limits, deliveries, company) stays as built in.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, cast

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from forecast.errors import InputError, Problem
from forecast.files.storage import write_atomically
from forecast.learn.bench_time.priors import BenchPriors
from forecast.learn.effort import EffortPriors, Normal, ReworkAndGrowthPriors

KIND = "benchdays pooled priors"
VERSION = 1
LEAST_BUILDS = 3
# How likely it is beforehand that a builder is unlike those pooled; common practice is a tenth to a half.
# Measured: from 2 to 10 % newcomers lose .01 at most, and strangers fare no worse than with the built-in
# beliefs alone (benchmarks/priors_weight.md). 2 % does as well there, but its strangers are easily told from
# the club, and others may not be.
BUILT_IN_WEIGHT = 0.05
_LARGEST_FILE_BYTES = 1_000_000
_EFFECTS = (
    "level", "size_slope", "learning", "learning_between_types", "repeat", "shared_work", "log_spread",
    "spread_by_size",
)  # fmt: skip
_SCALES = ("type_level_scale", "type_learning_scale", "pair_scale", "drift_scale")

_Effect = Annotated[float, Field(ge=-20, le=20)]
_Spread = Annotated[float, Field(gt=0, le=20)]
_Positive = Annotated[float, Field(gt=0, le=1e6)]
_Chance = Annotated[float, Field(gt=0, lt=1)]
_Types = dict[Annotated[str, Field(min_length=1, max_length=200)], _Effect]


class _Entry(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)


class _Normal(_Entry):
    centre: _Effect
    sd: _Spread


class _Effort(_Entry):
    level: _Normal
    size_slope: _Normal
    learning: _Normal
    learning_between_types: _Normal
    repeat: _Normal
    shared_work: _Normal
    log_spread: _Normal
    spread_by_size: _Normal
    type_level_scale: _Spread
    type_learning_scale: _Spread
    pair_scale: _Spread
    drift_scale: _Spread
    type_level: _Types
    type_learning: _Types


class _Beyond(_Entry):
    rework_chance: tuple[_Positive, _Positive]
    rework_log_share: _Normal
    outside_per_hour: tuple[_Positive, _Positive]
    outside_hours: _Positive
    growth_per_hour: tuple[_Positive, _Positive]
    growth_hours: _Positive


class _Bench(_Entry):
    chain_mean: tuple[_Effect, _Effect, _Effect, _Effect]
    chain_sd: tuple[_Spread, _Spread, _Spread, _Spread]
    weekly_log_hours: _Effect
    weekly_log_sd: _Spread
    day_chance: tuple[_Chance, _Chance, _Chance, _Chance, _Chance, _Chance, _Chance]
    day_weeks: Annotated[float, Field(gt=0, le=520)]


class _File(_Entry):
    kind: Literal["benchdays pooled priors"]
    version: Literal[1]
    builds: Annotated[int, Field(ge=LEAST_BUILDS)]
    degrees: Annotated[float, Field(gt=1, le=1000)]
    built_in_weight: Annotated[float, Field(ge=0, lt=1)] = BUILT_IN_WEIGHT
    effort: _Effort
    beyond: _Beyond
    bench: _Bench


@dataclass(frozen=True, kw_only=True)
class PooledPriors:
    """What many builds teach about the next one.

    Attributes
    ----------
    builds : how many were pooled
    effort, bench : the beliefs in place of the built-in ones
    """

    builds: int
    effort: EffortPriors
    bench: BenchPriors

    @property
    def sentence(self) -> str:
        """What a reader must know."""
        return (
            f"Where this log is thin it leans on priors pooled from {self.builds} other builds (pooled), "
            "not on the built-in ones."
        )


def priors_text(pooled: PooledPriors) -> str:
    """The content of the file, six significant digits a number, the same for the same priors."""
    effort, bench = pooled.effort, pooled.bench
    names = [*_EFFECTS, *_SCALES, "type_level", "type_learning"]
    answer = {
        "kind": KIND,
        "version": VERSION,
        "builds": pooled.builds,
        "degrees": effort.degrees,
        "built_in_weight": effort.built_in_weight,
        "effort": {name: _plain(getattr(effort, name)) for name in names},
        "beyond": {name: _plain(value) for name, value in asdict(effort.beyond).items()},
        "bench": {name: _plain(getattr(bench, name)) for name in _Bench.model_fields},
    }
    return json.dumps(answer, indent=1, ensure_ascii=False, sort_keys=False) + "\n"


def write_priors(path: Path, pooled: PooledPriors) -> None:
    """Write the file, whole or not at all.

    Raises
    ------
    InputError in one sentence when it cannot be written.
    """
    write_atomically(path, priors_text(pooled).encode())


def read_priors(path: Path | str) -> PooledPriors:
    """Read such a file.

    Raises
    ------
    InputError with one sentence when it is none, or holds something that cannot be.
    """
    path = Path(path)
    try:
        if path.stat().st_size > _LARGEST_FILE_BYTES:
            raise _refused(path, "", "", "is larger than any file of pooled priors")
        data = json.loads(path.read_bytes())
    except OSError as error:
        raise _refused(path, "", "", f"could not be read: {error.strerror}") from None
    except (ValueError, RecursionError):
        raise _refused(path, "", "", f"is no JSON file of {KIND}") from None
    if not isinstance(data, dict) or data.get("kind") != KIND:
        raise _refused(path, "", "", f"holds no {KIND}: `benchdays many FOLDER... --write-priors` makes them")
    if data.get("version") != VERSION:
        said = str(data.get("version"))
        raise _refused(path, "version", said, f"is not known to this benchdays, which reads {VERSION}")
    try:
        return _understood(_File.model_validate(data))
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise _refused(path, place, *_said(cast("dict[str, Any]", first))) from None


def _understood(file: _File) -> PooledPriors:
    effort: dict[str, Any] = {
        name: Normal(centre=value.centre, sd=value.sd) if isinstance(value, _Normal) else value
        for name, value in ((name, getattr(file.effort, name)) for name in _Effort.model_fields)
    }
    share = file.beyond.rework_log_share
    beyond: dict[str, Any] = {name: getattr(file.beyond, name) for name in _Beyond.model_fields}
    beyond["rework_log_share"] = Normal(centre=share.centre, sd=share.sd)
    bench: dict[str, Any] = {name: getattr(file.bench, name) for name in _Bench.model_fields}
    known: dict[str, Any] = {
        "degrees": file.degrees,
        "builds": file.builds,
        "built_in_weight": file.built_in_weight,
    }
    return PooledPriors(
        builds=file.builds,
        effort=EffortPriors(**effort, beyond=ReworkAndGrowthPriors(**beyond), **known),
        bench=BenchPriors(**bench, **known),
    )


def _plain(value: Any) -> Any:
    if isinstance(value, Normal):
        return {"centre": _plain(value.centre), "sd": _plain(value.sd)}
    if isinstance(value, dict):
        return {name: _plain(one) for name, one in sorted(value.items())}
    if isinstance(value, tuple | list):
        return [_plain(one) for one in value]
    return float(f"{value:.6g}")


def _said(error: dict[str, Any]) -> tuple[str, str]:
    """The value and what is allowed, in the words of a problem."""
    if error["type"] == "missing":
        return "", "is missing"
    if error["type"] == "extra_forbidden":
        return "", "is not known"
    message = str(error["msg"]).removeprefix("Input should be ")
    value = "" if isinstance(error["input"], dict | list | BaseModel) else str(error["input"])
    return value, f"must be {message}"


def _refused(path: Path, place: str, value: str, allowed: str) -> InputError:
    return InputError([Problem(str(path), None, place, value, allowed)])
