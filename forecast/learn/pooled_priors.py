"""Priors pooled from other builds, as one small JSON file of distributions.

The file holds numbers and the names of types of work that several builds share; no row, note, title or
name of a builder. What it leaves out (limits, deliveries, company) stays as built in.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
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
# Prior probability that a builder is unlike those pooled; common practice is 10 to 50 %. Measured: with
# 2 to 10 % newcomers lose 0.01 at most, and strangers fare no worse than with the built-in priors alone
# (benchmarks/skill/pooled_weight.md). 2 % does as well there, but its strangers are easily told apart from
# the club, and others may not be.
BUILT_IN_WEIGHT = 0.05
_LARGEST_FILE_BYTES = 1_000_000  # such a file holds some kilobytes: anything larger is another file

# Bounds are there to refuse damage, not to judge a prior: exp(20) is half a billion times the plan.
_Effect = Annotated[float, Field(ge=-20, le=20)]
_Spread = Annotated[float, Field(gt=0, le=20)]
_Positive = Annotated[float, Field(gt=0, le=1e6)]
_Chance = Annotated[float, Field(gt=0, lt=1)]
_Types = dict[Annotated[str, Field(min_length=1, max_length=200)], _Effect]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)


class _Normal(_Strict):
    centre: _Effect
    sd: _Spread


class _Effort(_Strict):
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


class _Beyond(_Strict):
    rework_chance: tuple[_Positive, _Positive]
    rework_log_share: _Normal
    outside_per_hour: tuple[_Positive, _Positive]
    outside_hours: _Positive
    growth_per_hour: tuple[_Positive, _Positive]
    growth_hours: _Positive


class _Bench(_Strict):
    chain_mean: tuple[_Effect, _Effect, _Effect, _Effect]
    chain_sd: tuple[_Spread, _Spread, _Spread, _Spread]
    weekly_log_hours: _Effect
    weekly_log_sd: _Spread
    day_chance: tuple[_Chance, _Chance, _Chance, _Chance, _Chance, _Chance, _Chance]
    day_weeks: Annotated[float, Field(gt=0, le=520)]


class _File(_Strict):
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
    """Priors for the next build, estimated from other builds.

    Attributes
    ----------
    builds : number of builds pooled
    effort, bench : priors that replace the built-in ones
    """

    builds: int
    effort: EffortPriors
    bench: BenchPriors

    @property
    def sentence(self) -> str:
        """The basis, as one sentence for the reader of a forecast."""
        return (
            f"Where this log is short, it relies on priors pooled from {self.builds} other builds (pooled), "
            "not on the built-in ones."
        )


def priors_text(pooled: PooledPriors) -> str:
    """Content of the file: six significant digits per number, equal for equal priors."""
    effort, bench = pooled.effort, pooled.bench
    answer = {
        "kind": KIND,
        "version": VERSION,
        "builds": pooled.builds,
        "degrees": effort.degrees,
        "built_in_weight": effort.built_in_weight,
        "effort": {name: _plain(getattr(effort, name)) for name in _Effort.model_fields},
        "beyond": {name: _plain(getattr(effort.beyond, name)) for name in _Beyond.model_fields},
        "bench": {name: _plain(getattr(bench, name)) for name in _Bench.model_fields},
    }
    return json.dumps(answer, indent=1, ensure_ascii=False, sort_keys=False) + "\n"


def write_priors(path: Path, pooled: PooledPriors) -> None:
    """Write the file, whole or not at all.

    Parameters
    ----------
    path : file to write
    pooled : priors to write

    Raises
    ------
    InputError : one sentence, when the file cannot be written
    """
    write_atomically(path, priors_text(pooled).encode())


def read_priors(path: Path | str) -> PooledPriors:
    """Read a file of pooled priors.

    Raises
    ------
    InputError : one sentence, when the file is of another kind or holds an impossible value
    """
    path = Path(path)
    try:
        if path.stat().st_size > _LARGEST_FILE_BYTES:
            raise _problem(path, "", "", f"is too large for a file of {KIND}")
        data = json.loads(path.read_bytes())
    except OSError as error:
        raise _problem(path, "", "", f"could not be read: {error.strerror}") from None
    except (ValueError, RecursionError):
        raise _problem(path, "", "", f"is not a JSON file of {KIND}") from None
    if not isinstance(data, dict) or data.get("kind") != KIND:
        raise _problem(
            path, "", "", f"holds no {KIND}: `benchdays many FOLDER... --write-priors` writes them"
        )
    if data.get("version") != VERSION:
        version = str(data.get("version"))
        raise _problem(path, "version", version, f"cannot be read: this benchdays reads version {VERSION}")
    try:
        return _pooled(_File.model_validate(data))
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise _problem(path, place, *_value_and_rule(cast("dict[str, Any]", first))) from None


def _pooled(file: _File) -> PooledPriors:
    shared: dict[str, Any] = {name: getattr(file, name) for name in ("degrees", "builds", "built_in_weight")}
    beyond = ReworkAndGrowthPriors(**_values(file.beyond))
    return PooledPriors(
        builds=file.builds,
        effort=EffortPriors(**_values(file.effort), beyond=beyond, **shared),
        bench=BenchPriors(**_values(file.bench), **shared),
    )


def _values(part: _Strict) -> dict[str, Any]:
    return {
        name: Normal(centre=value.centre, sd=value.sd) if isinstance(value, _Normal) else value
        for name, value in part
    }


def _plain(value: Any) -> Any:
    if isinstance(value, Normal):
        return {"centre": _plain(value.centre), "sd": _plain(value.sd)}
    if isinstance(value, dict):
        return {name: _plain(one) for name, one in sorted(value.items())}
    if isinstance(value, tuple | list):
        return [_plain(one) for one in value]
    return float(f"{value:.6g}")


def _value_and_rule(error: dict[str, Any]) -> tuple[str, str]:
    """The value and the rule it breaks, as a `Problem` words them."""
    if error["type"] == "missing":
        return "", "is missing"
    if error["type"] == "extra_forbidden":
        return "", "is not a known entry"
    message = str(error["msg"]).removeprefix("Input should be ")
    value = "" if isinstance(error["input"], dict | list | BaseModel) else str(error["input"])
    return value, f"must be {message}"


def _problem(path: Path, place: str, value: str, allowed: str) -> InputError:
    return InputError([Problem(str(path), None, place, value, allowed)])
