"""What can be taken up tonight: by the plan's rules, told again here in plain loops."""

from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecast.files.folder import Build
from forecast.files.logbook import Builder
from forecast.files.plan import Delivery, Limit, Plan, Task, Use
from forecast.learn.bench_time import BenchTime
from forecast.learn.effort import EffortModel, EffortPriors
from forecast.learn.effort.design import build_design
from forecast.learn.progress import read_progress
from forecast.questions.readiness import readiness
from forecast.simulate.fitted import Fitted
from forecast.simulate.network import network_of
from tests.conftest import sessions_frame

TONIGHT = date(2026, 3, 20)
FLOATS = Delivery(
    delivery="floats", title="The float kit", ordered=date(2026, 2, 1), lead_weeks_low=6,
    lead_weeks_likely=8, lead_weeks_high=12,
)  # fmt: skip
ENGINE = Delivery(
    delivery="engine", title="The engine", ordered=None, lead_weeks_low=6, lead_weeks_likely=8,
    lead_weeks_high=12,
)  # fmt: skip


def stand(tasks, rows=(), *, deliveries=(), limits=()) -> Fitted:
    """A build as it stands, without any fit: what is ready does not depend on one."""
    blank = {"date": "2026-01-01", "hours": 1.0}
    sessions = sessions_frame([{**blank, **r} for r in rows] or [blank])
    build = Build(
        folder=Path("none"), name="Stint", country=None, builders=(Builder(id="A"), Builder(id="B")),
        limits=tuple(limits), plan=Plan(tasks=tuple(tasks)), sessions=sessions,
        deliveries=tuple(deliveries), away=(), notices=(),
    )  # fmt: skip
    progress = read_progress(build.plan, sessions, TONIGHT)
    model = EffortModel()
    model.design_ = build_design(progress, EffortPriors())
    network = network_of(build.plan, progress, build.deliveries, TONIGHT, limits=build.limits)
    return Fitted(build=build, progress=progress, effort=model, bench=BenchTime(), network=network)


def task(name, **more) -> Task:
    return Task(task=name, stage=more.pop("stage", "tail"), title=f"Title of {name}", **more)


def done(name, day="2026-03-10", **more):
    return {"date": day, "task": name, "done": True, **more}


def offered(fitted, hands=1):
    state = readiness(fitted, hands)
    return [state.tasks[i].task for i in state.ready]


def waits(fitted, name, hands=1):
    state = readiness(fitted, hands)
    at = [t.task for t in state.tasks].index(name)
    return [w.words for w in state.waits[at]]


def test_what_nothing_comes_before_is_ready():
    state = readiness(stand([task("A1")]), 1)
    assert [state.tasks[i].task for i in state.ready] == ["A1"]
    assert state.why == ("nothing has to come before it",)


def test_a_task_waits_for_the_one_before_it():
    fitted = stand([task("A1"), task("A2", after=("A1",))])
    assert offered(fitted) == ["A1"]
    assert waits(fitted, "A2") == ["Title of A1 (A1) to be finished"]


def test_a_task_is_ready_when_the_one_before_it_is_finished():
    state = readiness(stand([task("A1"), task("A2", after=("A1",))], [done("A1")]), 1)
    assert state.why == ("A1 is finished",)


def test_a_task_waits_again_when_the_one_before_it_is_opened_again():
    rows = [done("A1"), {"date": "2026-03-12", "task": "A1", "rework": True}]
    assert offered(stand([task("A1"), task("A2", after=("A1",))], rows)) == ["A1"]


def test_a_task_that_was_opened_again_says_so():
    rows = [done("A1"), {"date": "2026-03-12", "task": "A1", "rework": True}]
    assert readiness(stand([task("A1")], rows), 1).why == (
        "open again after it was finished, 2 person-hours so far",
    )


@pytest.mark.parametrize(
    ("hold", "since", "ready"),
    [(1, 2, True), (1, 1, False), (1, 0, False), (0.5, 1, True), (2, 2, False), (2, 3, True), (0, 0, True)],
)
def test_a_hold_counts_from_the_end_of_the_day_that_began_it(hold, since, ready):
    """Primer on Monday, a day's hold: by the clock it may be over on Tuesday evening, surely on Wednesday."""
    tasks = [task("P1", hold_days=hold), task("A2", after=("P1",))]
    fitted = stand(tasks, [done("P1", day=str(TONIGHT - timedelta(days=since)))])
    assert ("A2" in offered(fitted)) == ready


def test_a_hold_says_until_when_it_runs():
    tasks = [task("P1", hold_days=3), task("A2", after=("P1",))]
    assert waits(stand(tasks, [done("P1", day="2026-03-19")]), "A2") == [
        "the hold of Title of P1 (P1), 3 days from 19 March 2026: over by the evening of Monday 23 March"
    ]


def test_a_hold_that_ends_tonight_is_left_to_the_builders_clock():
    tasks = [task("P1", hold_days=1), task("A2", after=("P1",))]
    assert waits(stand(tasks, [done("P1", day="2026-03-19")]), "A2") == [
        "the hold of Title of P1 (P1), 1 day from 19 March 2026: by the clock it may be over tonight"
    ]


def test_a_delivery_on_order_says_when_it_may_come():
    fitted = stand([task("A1", delivery="floats")], deliveries=[FLOATS])
    assert offered(fitted) == []
    assert waits(fitted, "A1")[0].startswith(
        "The float kit, ordered on 1 February 2026, most likely here between"
    )


def test_a_delivery_that_is_not_ordered_says_so():
    assert waits(stand([task("A1", delivery="engine")], deliveries=[ENGINE]), "A1") == [
        "The engine, which is not ordered yet"
    ]


def test_a_delivery_that_comes_tomorrow_is_not_here_tonight():
    tomorrow = Delivery(
        delivery="floats", title="The float kit", ordered=date(2026, 2, 1), lead_weeks_low=6,
        lead_weeks_likely=8, lead_weeks_high=12, arrived=TONIGHT + timedelta(days=1),
    )  # fmt: skip
    assert offered(stand([task("A1", delivery="floats")], deliveries=[tomorrow])) == []


def test_a_delivery_that_came_lets_its_tasks_begin():
    here = Delivery(
        delivery="floats", title="The float kit", ordered=date(2026, 2, 1), lead_weeks_low=6,
        lead_weeks_likely=8, lead_weeks_high=12, arrived=TONIGHT,
    )  # fmt: skip
    assert readiness(stand([task("A1", delivery="floats")], deliveries=[here]), 1).why == (
        "The float kit is here",
    )


def test_a_two_person_task_waits_for_the_second_pair_of_hands():
    fitted = stand([task("A1", crew="two")])
    assert (offered(fitted, 1), offered(fitted, 2)) == ([], ["A1"])
    assert waits(fitted, "A1") == ["a second pair of hands"]


FASTENERS = Limit(id="fasteners", amount=400)


def holding(amount, until=None):
    return (Use(limit="fasteners", amount=amount, until=until),)


def test_a_limit_that_begun_work_holds_keeps_others_waiting():
    tasks = [task("A1", uses=holding(300)), task("A2", uses=holding(200))]
    fitted = stand(tasks, [{"date": "2026-03-10", "task": "A1"}], limits=[FASTENERS])
    assert offered(fitted) == ["A1"]
    assert waits(fitted, "A2") == [
        "200 fasteners: 100 of 400 are free, more when Title of A1 (A1) is finished"
    ]


def test_a_limit_is_held_on_until_the_task_that_ends_it():
    tasks = [task("A1", uses=holding(300, "A3")), task("A2", uses=holding(200)), task("A3", after=("A1",))]
    fitted = stand(tasks, [done("A1")], limits=[FASTENERS])
    assert offered(fitted) == ["A3"]
    assert readiness(fitted, 1).waits[0][0].words.endswith("more when Title of A3 (A3) is finished")


def test_two_uses_of_one_limit_count_together():
    both = (Use(limit="fasteners", amount=250), Use(limit="fasteners", amount=250))
    assert offered(stand([task("A1", uses=both)], limits=[FASTENERS])) == []


def test_what_a_task_frees_waits_for_nothing_else():
    tasks = [task("A1"), task("A2"), task("A3", after=("A1",)), task("A4", after=("A1", "A2"))]
    assert readiness(stand(tasks), 1).frees[:2] == (("A3",), ())


def test_a_two_person_task_is_freed_for_an_evening_with_two():
    assert readiness(stand([task("A1"), task("A2", after=("A1",), crew="two")]), 1).frees[0] == ("A2",)


def test_nearly_ready_is_what_waits_for_one_thing_that_can_be_had():
    tasks = [task("A1"), task("A2", after=("A1",)), task("A3", after=("A2",)), task("A4", crew="two")]
    state = readiness(stand(tasks), 1)
    assert [state.tasks[i].task for i in state.nearly_ready] == ["A2", "A4"]


# Any plan, any log -------------------------------------------------------------------------------

IDS = [f"T{i}" for i in range(7)]


@st.composite
def builds(draw):
    """A few tasks in every kind of trouble, and a log that need not have kept the plan's order."""
    tasks = []
    for i, name in enumerate(IDS):
        uses = draw(
            st.sampled_from([(), holding(150), holding(300), holding(150, draw(st.sampled_from(IDS)))])
        )
        tasks.append(
            task(
                name,
                stage=draw(st.sampled_from(["tail", "wing"])),
                after=tuple(draw(st.sets(st.sampled_from(IDS[:i]), max_size=2))) if i else (),
                crew=draw(st.sampled_from(["one", "either", "two"])),
                hold_days=draw(st.sampled_from([0, 0, 0.5, 1, 2, 5])),
                delivery=draw(st.sampled_from([None, None, "floats", "engine"])),
                uses=uses,
            )
        )
    rows = draw(
        st.lists(
            st.fixed_dictionaries(
                {
                    "date": st.dates(TONIGHT - timedelta(days=6), TONIGHT).map(str),
                    "task": st.sampled_from(IDS),
                    "done": st.booleans(),
                }
            ),
            max_size=9,
        )
    )
    arrived = draw(st.sampled_from([None, TONIGHT, TONIGHT + timedelta(days=1), date(2026, 3, 1)]))
    floats = Delivery(
        delivery="floats", title="floats", ordered=date(2026, 1, 1), lead_weeks_low=1, lead_weeks_likely=2,
        lead_weeks_high=30, arrived=arrived, needed_for=draw(st.sampled_from([None, "wing"])),
    )  # fmt: skip
    return tasks, rows, [floats, ENGINE]


class AnnouncedRecord:
    """The rules of the plan once more, by plain loops over the rows."""

    def __init__(self, tasks, rows, deliveries):
        self.tasks = {t.task: t for t in tasks}
        self.days = {t: sorted({r["date"] for r in rows if r["task"] == t}) for t in self.tasks}
        last = {t: d[-1] for t, d in self.days.items() if d}
        self.done = {
            t: date.fromisoformat(d)
            for t, d in last.items()
            if any(r["task"] == t and r["date"] == d and r["done"] for r in rows)
        }
        self.here = {d.delivery for d in deliveries if d.arrived is not None and d.arrived <= TONIGHT}
        named = {t.delivery for t in tasks}
        self.stage_needs = {d.needed_for: d.delivery for d in deliveries if d.delivery not in named}

    def held(self):
        amount = 0.0
        for name, t in self.tasks.items():
            for use in t.uses:
                until = use.until if use.until not in (None, *self.done) else name
                if self.days[name] and until not in self.done:
                    amount += use.amount
        return amount

    def bars(self, name, hands):
        """Why a task must not be offered; nothing = it may be."""
        t, found = self.tasks[name], []
        found += [f"{a} is open" for a in t.after if a not in self.done]
        found += [
            f"hold of {a}"
            for a in t.after
            if a in self.done and (TONIGHT - self.done[a]).days < self.tasks[a].hold_days
        ]
        wanted = {t.delivery} if t.delivery else set()
        if not self.days[name] and t.stage in self.stage_needs:
            wanted.add(self.stage_needs[t.stage])
        found += [f"{d} is out" for d in sorted(wanted - self.here)]
        if t.crew == "two" and hands < 2:
            found.append("needs two")
        need = sum(u.amount for u in t.uses)
        if not self.days[name] and need and need + self.held() > FASTENERS.amount:
            found.append("fasteners")
        return found

    def hold_ends_tonight(self, name):
        """By the clock it may be over: the one case in which a task that may be offered is not."""
        before = [a for a in self.tasks[name].after if a in self.done and self.tasks[a].hold_days > 0]
        return any((TONIGHT - self.done[a]).days < self.tasks[a].hold_days + 0.25 for a in before)


@settings(max_examples=60, deadline=None)
@given(made=builds(), hands=st.integers(1, 3))
def test_nothing_is_ever_offered_that_the_plan_keeps_waiting(made, hands):
    told = AnnouncedRecord(*made)
    for name in offered(stand(made[0], made[1], deliveries=made[2], limits=[FASTENERS]), hands):
        assert name not in told.done
        assert told.bars(name, hands) == []


@settings(max_examples=60, deadline=None)
@given(made=builds(), hands=st.integers(1, 3))
def test_everything_is_offered_that_nothing_keeps_waiting(made, hands):
    told = AnnouncedRecord(*made)
    fitted = stand(made[0], made[1], deliveries=made[2], limits=[FASTENERS])
    free = [
        n for n in IDS if n not in told.done and not told.bars(n, hands) and not told.hold_ends_tonight(n)
    ]
    assert offered(fitted, hands) == free


@settings(max_examples=25, deadline=None)
@given(made=builds())
def test_whatever_waits_says_for_what(made):
    state = readiness(stand(made[0], made[1], deliveries=made[2], limits=[FASTENERS]), 1)
    for found, why in zip(state.waits, state.why, strict=True):
        assert bool(found) != bool(why)
        assert all(w.words for w in found)
