"""What one build contributes to pooled priors: likelihoods and counts, but no row of its log."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from forecast.learn.bench_time.evidence import BenchEvidence
from forecast.learn.bench_time.evidence import evidence_of as bench_evidence_of
from forecast.learn.effort import EffortEvidence
from forecast.simulate.fitted import Fitted

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
        effort, bench = self.effort, self.bench
        return {
            "effects": [list(effect) for effect in effort.effects],
            "precision": _numbers(effort.precision[np.tril_indices(len(effort.effects))]),
            "pull": _numbers(effort.pull),
            "finished": effort.finished,
            "log_spread": _numbers(effort.log_spread),
            "spread_by_size": _numbers(effort.spread_by_size),
            "scales": {name: _number(v) for name, v in effort.scales.items()},
            "chain_precision": [_numbers(row) for row in bench.chain_precision],
            "chain_pull": _numbers(bench.chain_pull),
            "weekly": _numbers((bench.weekly_precision, bench.weekly_pull)),
            "worked": _numbers(bench.worked),
            "idle": _numbers(bench.idle),
            "weeks": bench.weeks,
            "counts": {name: _number(v) for name, v in self.counts.items()},
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> BuildSummary:
        """The summary that `to_dict` wrote."""
        count = len(data["effects"])
        precision = np.zeros((count, count))
        precision[np.tril_indices(count)] = data["precision"]
        return cls(
            effort=EffortEvidence(
                effects=tuple((kind, name) for kind, name in data["effects"]),
                precision=precision + np.tril(precision, -1).T,
                pull=np.array(data["pull"]),
                finished=dict(data["finished"]),
                log_spread=(data["log_spread"][0], data["log_spread"][1]),
                spread_by_size=(data["spread_by_size"][0], data["spread_by_size"][1]),
                scales=dict(data["scales"]),
            ),
            bench=BenchEvidence(
                chain_precision=np.array(data["chain_precision"]),
                chain_pull=np.array(data["chain_pull"]),
                weekly_precision=data["weekly"][0],
                weekly_pull=data["weekly"][1],
                worked=np.array(data["worked"]),
                idle=np.array(data["idle"]),
                weeks=data["weeks"],
            ),
            counts=dict(data["counts"]),
        )


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


def _number(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")


def _numbers(values: Any) -> list[float]:
    return [_number(float(v)) for v in values]
