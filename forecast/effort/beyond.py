"""What comes on top of first-time work on the planned tasks: rework, work outside the plan, growth.

rework    a task is redone in part with some chance; the part is a share of its first-time hours
outside   pieces of work outside the plan come at some rate per person-hour of planned work
growth    tasks are added to the plan at some rate per person-hour of planned work

Chances and rates are Beta and Gamma posteriors, so a short log leaves them uncertain; sizes are those
seen, mixed with a prior's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.progress import Progress

# Priors, common practice, no source: one task in twelve is redone in part, at a quarter of its hours;
# one work session in twenty-five is outside the plan; one task per 150 person-hours is added.
_REWORK_CHANCE = (0.5, 5.5)
_REWORK_LOG_SHARE = (np.log(0.25), 0.8)
_OUTSIDE_PER_HOUR = (0.8, 50.0)
_OUTSIDE_HOURS = 2.5
_GROWTH_PER_HOUR = (0.35, 50.0)
_GROWTH_HOURS = 4.0
_PRIOR_WORTH = 4.0  # sizes: as if so many had been seen
_BUNCHING_SD = 0.35  # such work comes in bunches: a rate wanders by this much on the log scale


@dataclass(frozen=True, kw_only=True)
class Beyond:
    """What was learned about the work that no first-time estimate covers.

    Attributes
    ----------
    redone, finished : tasks with rework, and tasks that could have had it
    rework_shares : (r,) rework over first-time hours of the redone tasks
    outside_hours : (o,) person-hours of each day's work outside the plan
    added_hours : (a,) expected person-hours of each task that was added after the start
    planned_hours_worked : person-hours that went into planned tasks so far
    """

    redone: int
    finished: int
    rework_shares: np.ndarray
    outside_hours: np.ndarray
    added_hours: np.ndarray
    planned_hours_worked: float

    def draw_rework(self, hours: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(run, task) rework hours on so many first-time hours: most tasks none, some much."""
        runs, tasks = hours.shape
        before, never = _REWORK_CHANCE
        chance = rng.beta(before + self.redone, never + max(self.finished - self.redone, 0), size=(runs, 1))
        believed: np.ndarray = np.exp(rng.normal(*_REWORK_LOG_SHARE, size=(runs, tasks)))
        share = self._sizes(self.rework_shares, believed, rng)
        return np.where(rng.random((runs, tasks)) < chance, share * hours, 0.0)

    def draw_outside(self, worked: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(run,) hours outside the plan that come with so many hours of planned work."""
        return self._compound(worked, _OUTSIDE_PER_HOUR, self.outside_hours, _OUTSIDE_HOURS, rng)

    def draw_growth(self, worked: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(run,) hours of tasks that will be added in so many hours of planned work."""
        return self._compound(worked, _GROWTH_PER_HOUR, self.added_hours, _GROWTH_HOURS, rng)

    def _compound(
        self,
        worked: np.ndarray,
        prior: tuple[float, float],
        seen: np.ndarray,
        typical: float,
        rng: np.random.Generator,
    ) -> np.ndarray:
        rate = rng.gamma(prior[0] + len(seen), size=len(worked)) / (prior[1] + self.planned_hours_worked)
        wander = rng.normal(-0.5 * _BUNCHING_SD**2, _BUNCHING_SD, size=len(worked))
        rate = rate * np.exp(wander)
        count = rng.poisson(np.minimum(rate * worked, 1e6))
        most = int(count.max(initial=0))
        if most == 0:
            return np.zeros(len(worked))
        if most > 400:  # so many that only their mean matters
            mean = (typical * _PRIOR_WORTH + seen.sum()) / (_PRIOR_WORTH + len(seen))
            return count * mean
        sizes = self._sizes(seen, rng.gamma(1.5, typical / 1.5, size=(len(worked), most)), rng)
        return np.where(np.arange(most) < count[:, None], sizes, 0.0).sum(axis=1)

    @staticmethod
    def _sizes(seen: np.ndarray, believed: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        if not len(seen):
            return believed
        from_seen = rng.random(believed.shape) < len(seen) / (len(seen) + _PRIOR_WORTH)
        return np.where(from_seen, seen[rng.integers(len(seen), size=believed.shape)], believed)


def learn_beyond(progress: Progress, expected_hours: np.ndarray) -> Beyond:
    """Count rework, outside work and growth.

    Parameters
    ----------
    progress : sessions and plan as they stood on one day
    expected_hours : (task,) total person-hours of each task, spent where finished, else expected
    """
    tasks = progress.tasks
    first = tasks["hours_first"].to_numpy(dtype=float)
    again = tasks["hours_rework"].to_numpy(dtype=float)
    worked = first > 0
    done = tasks["done"].to_numpy(dtype=bool) & worked
    redone = worked & (again > 0)
    outside = progress.outside.groupby("date")["person_hours"].sum().to_numpy(dtype=float)
    started = progress.started
    added = np.zeros(len(tasks), dtype=bool)
    if started is not None:
        added = (tasks["added"] > np.datetime64(started)).to_numpy(dtype=bool)
    return Beyond(
        redone=int(redone.sum()),
        finished=int((done | redone).sum()),
        rework_shares=np.minimum(again[redone] / first[redone], 3.0),
        outside_hours=outside,
        added_hours=expected_hours[added],
        planned_hours_worked=float((first + again).sum()),
    )
