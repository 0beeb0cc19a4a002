"""What one build contributes to pooled priors: likelihoods and counts, but no row of its log."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from forecast.learn.bench_time.evidence import BenchEvidence
from forecast.learn.bench_time.evidence import evidence_of as bench_evidence_of
from forecast.learn.effort import EffortEvidence
from forecast.simulate.fitted import Fitted

_ARRAYS = ("pull", "chain_precision", "chain_pull", "worked", "idle")
_DIGITS = 8  # keeps a summary to 8 kB; far finer than the draws behind it


@dataclass(frozen=True, kw_only=True)
class BuildSummary:
    """One build's contribution.

    Attributes
    ----------
    effort, bench : likelihoods of effort effects and of habits
    counts : tasks redone and could (be redone); worked_hours; outside_days, outside_hours, growth_days and
        growth_hours (days and person-hours of unplanned and of added work); rework_shares (how many), and
        the sums of their logs and squared logs, rework_log_share and rework_log_square
    """

    effort: EffortEvidence
    bench: BenchEvidence
    counts: Mapping[str, float]

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers for JSON; only the lower triangle of the symmetric precision."""
        lower = self.effort.precision[np.tril_indices(len(self.effort.effects))]
        parts = vars(self.effort) | {"precision": lower} | vars(self.bench)
        return _plain(parts | {"counts": {name: float(v) for name, v in self.counts.items()}})

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> BuildSummary:
        """The summary that `to_dict` wrote."""
        count = len(data["effects"])
        precision = np.zeros((count, count))
        precision[np.tril_indices(count)] = data["precision"]
        arrays = {name: np.array(data[name]) for name in _ARRAYS}
        pairs = {name: tuple(data[name]) for name in ("log_spread", "spread_by_size")}
        known = {**data, **arrays, **pairs, "effects": tuple(map(tuple, data["effects"]))}
        known["precision"] = precision + np.tril(precision, -1).T
        effort, bench = _made(EffortEvidence, known), _made(BenchEvidence, known)
        return cls(effort=effort, bench=bench, counts=dict(data["counts"]))


def summary_of(fitted: Fitted) -> BuildSummary:
    """The summary of a build.

    Raises
    ------
    ValueError when it was fitted with other than the built-in priors.
    """
    beyond = fitted.effort.rework_and_growth_
    # A tenth of a per cent is the least rework that anybody writes down; the log of zero is not finite.
    shares = np.log(np.maximum(beyond.rework_shares, 1e-3))
    return BuildSummary(
        effort=fitted.effort.evidence_of_build_,
        bench=bench_evidence_of(fitted.bench),
        counts={
            "redone": beyond.counts.redone,
            "could": beyond.counts.could,
            "worked_hours": beyond.counts.worked_hours,
            "outside_days": len(beyond.outside_hours),
            "outside_hours": float(beyond.outside_hours.sum()),
            "growth_days": len(beyond.growth_hours),
            "growth_hours": float(beyond.growth_hours.sum()),
            "rework_shares": len(shares),
            "rework_log_share": float(shares.sum()),
            "rework_log_square": float(shares @ shares),
        },
    )


def _made(kind: Any, known: Mapping[str, Any]) -> Any:
    return kind(**{f.name: known[f.name] for f in fields(kind)})


def _plain(value: Any) -> Any:
    """The same with lists for arrays and tuples, and floats rounded."""
    if isinstance(value, Mapping):
        return {key: _plain(part) for key, part in value.items()}
    if isinstance(value, np.ndarray | list | tuple):
        return [_plain(part) for part in value]
    return float(f"{value:.{_DIGITS}g}") if isinstance(value, float) else value
