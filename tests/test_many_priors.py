"""Priors pooled from many builds: what they learn, what the file may hold, what a forecast makes of them."""

import csv
import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from benchmarks.invented.workshop import make_build
from forecast.cli import app
from forecast.errors import InputError
from forecast.learn.bench_time import BenchTime
from forecast.learn.bench_time.priors import BenchPriors
from forecast.learn.effort import EffortModel, EffortPriors, Normal
from forecast.learn.pooled_priors import priors_text, read_priors, write_priors
from forecast.learn.progress import read_progress
from forecast.many.pool import pool_priors
from forecast.many.rates import pool_chance, pool_days, pool_rate
from forecast.many.summary import BuildSummary, summary_of
from forecast.simulate.fitted import fit_build
from tests.conftest import sessions_frame
from tests.many_builds import QUICK, write_club
from tests.small_builds import AS_OF, fitted_build, plan_of


def fitted_member(seed: int):
    made = make_build(seed=seed, tasks=30)
    as_of = made.cut(0.9)
    return fit_build(made.as_known_on(as_of), as_of, QUICK)


@pytest.fixture(scope="module")
def said():
    return [summary_of(fitted_member(seed)) for seed in range(3)]


@pytest.fixture(scope="module")
def pooled(said):
    return pool_priors(said)


def test_rates_and_chances_come_back_and_no_prior_weighs_too_much():
    rng = np.random.default_rng(2)
    shape, rate = pool_rate(rng.poisson(0.05 * 400, 300), np.full(300, 400.0), (0.8, 50.0))
    assert shape / rate == pytest.approx(0.05, rel=0.03)
    assert shape <= 4.0 + 1e-9
    a, b = pool_chance(rng.binomial(100, rng.beta(4, 16, 300)), np.full(300, 100), (0.5, 5.5))
    assert a / (a + b) == pytest.approx(0.2, rel=0.05)
    assert a + b == pytest.approx(20, rel=0.4)
    assert pool_chance(np.zeros(0), np.zeros(0), (0.5, 5.5)) == pytest.approx((0.5, 5.5))
    days, weeks = pool_days(np.full((40, 7), 30.0), np.full((40, 7), 10.0), np.full(7, 0.3), 0.5)
    assert days == pytest.approx(np.full(7, 0.75), abs=0.02)
    assert weeks <= 4.0 + 1e-9


def test_the_evidence_and_the_beliefs_make_the_posterior():
    """The exact draws of the fit, against the quadratic likelihood with its prior put back."""
    fitted = fitted_member(1)
    said, model = fitted.effort.evidence_of_build_, fitted.effort
    scale = {
        "type_level": model.posterior_.scales["level"],
        "type_learning": model.posterior_.scales["learning"],
    }
    belief = [
        Normal(centre=0.0, sd=float(np.median(scale[kind])))
        if kind in scale
        else getattr(model.priors_, kind)
        for kind, _ in said.effects
    ]
    centre = np.array(
        [b.centre - (kind == "size_slope") for b, (kind, _) in zip(belief, said.effects, strict=True)]
    )
    prior = np.array([b.sd**-2 for b in belief])
    covariance = np.linalg.inv(said.precision + np.diag(prior))
    mean = covariance @ (said.pull + prior * centre)
    for i, (kind, name) in enumerate(said.effects):
        if name:
            continue
        drawn = model.posterior_.fixed[:, model.design_.fixed_names.index(kind)]
        assert abs(mean[i] - drawn.mean()) < 0.6 * drawn.std()
        assert covariance[i, i] ** 0.5 == pytest.approx(drawn.std(), rel=0.5)


def test_a_summary_comes_back_from_json(said):
    again = BuildSummary.from_dict(json.loads(json.dumps(said[0].to_dict())))
    assert again.to_dict() == said[0].to_dict()
    assert again.effort.precision == pytest.approx(said[0].effort.precision, rel=1e-6, abs=1e-6)


def test_fewer_than_three_builds_make_no_priors(said):
    with pytest.raises(InputError, match="at least 3 builds with a finished task. Got 2"):
        pool_priors(said[:2])


def test_the_file_comes_back_as_it_was_written(pooled, tmp_path):
    write_priors(tmp_path / "club.json", pooled)
    again = read_priors(tmp_path / "club.json")
    assert priors_text(again) == priors_text(pooled)
    assert again.builds == again.effort.builds == again.bench.builds == 3
    assert again.effort.type_level


def _without(text: str, *path: str) -> str:
    data = json.loads(text)
    inner = data
    for name in path[:-1]:
        inner = inner[name]
    del inner[path[-1]]
    return json.dumps(data)


BAD = {
    "not json": (lambda text: text[:50], "is not a JSON file of benchdays pooled priors."),
    "another file": (lambda text: "[1, 2]", "holds no benchdays pooled priors"),
    "a later version": (
        lambda text: text.replace('"version": 1', '"version": 2'),
        "version: '2' cannot be read: this benchdays reads version 1.",
    ),
    "a hole": (lambda text: _without(text, "effort", "level", "sd"), "effort.level.sd: is missing."),
    "a stranger": (
        lambda text: text.replace('"builds"', '"note": 1, "builds"', 1),
        "note: is not a known entry.",
    ),
    "no spread": (lambda text: text.replace('"chain_sd": [', '"chain_sd": [-1.5,', 1), "bench.chain_sd"),
    "words": (
        lambda text: text.replace('"day_weeks": ', '"day_weeks": "often", "x": '),
        "bench.day_weeks: 'often' must be a valid number",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_file_is_refused_in_one_sentence(case, pooled, tmp_path):
    damage, sentence = BAD[case]
    (tmp_path / "club.json").write_text(damage(priors_text(pooled)), encoding="utf-8")
    with pytest.raises(InputError) as refused:
        read_priors(tmp_path / "club.json")
    assert len(refused.value.problems) == 1
    assert sentence in str(refused.value)
    assert "\n" not in str(refused.value)


@settings(max_examples=40, deadline=None)
@given(place=st.integers(0, 200), value=st.sampled_from([None, -1.0, 1e9, "x", [], {}, True]))
def test_no_damage_to_one_number_ends_in_a_traceback(place, value, pooled, tmp_path_factory):
    data = json.loads(priors_text(pooled))
    leaves = [(part, key) for part in _parts(data) for key in _keys(part)]
    part, key = leaves[place % len(leaves)]
    part[key] = value
    file = tmp_path_factory.getbasetemp() / "damaged.json"
    file.write_text(json.dumps(data), encoding="utf-8")
    assert _sentences(file) <= 1


def _sentences(file) -> int:
    try:
        read_priors(file)
    except InputError as error:
        return len(error.problems)
    return 0


def _parts(data):
    yield data
    for value in data.values() if isinstance(data, dict) else data:
        if isinstance(value, dict | list):
            yield from _parts(value)


def _keys(part):
    return list(part) if isinstance(part, dict) else range(len(part))


def test_no_word_of_a_builder_is_in_the_file(tmp_path):
    """Marks in every free text, in the ids, and in a type of work that only two of three builds know."""
    folders = write_club(tmp_path, 3, tasks=8, until=0.9)
    for number, folder in enumerate(folders):
        _mark(folder, of_their_own=number < 2)
    file, kept = tmp_path / "club.json", tmp_path / "kept"
    command = ["many", *map(str, folders), "--as-of", "2026-06-30", "--runs", "20", "--workers", "1"]
    run = CliRunner().invoke(app, [*command, "--cache", str(kept), "--write-priors", str(file)])
    assert run.exit_code == 0, run.output
    text = file.read_text(encoding="utf-8")
    assert "SECRET" not in text
    assert not any(folder.name in text for folder in folders)
    assert set(json.loads(text)["effort"]["type_level"]) <= {"riveting"}
    assert "SECRET" in "".join(f.read_text(encoding="utf-8") for f in kept.rglob("*.json"))


def _mark(folder, *, of_their_own: bool) -> None:
    settings_file = folder / "build.toml"
    text = settings_file.read_text(encoding="utf-8").replace('id = "A"', 'id = "SECRETA"')
    settings_file.write_text(text.replace("Synthetic", "SECRET"), encoding="utf-8")
    plan, ids = _rows(folder / "plan.csv"), {}
    for place, row in enumerate(plan):
        ids[row["task"]] = f"SECRET{place}"
        kind = "SECRET-way" if of_their_own and place % 2 else "riveting"
        row |= {"task": ids[row["task"]], "title": "SECRET", "type": kind, "stage": f"SECRET {row['stage']}"}
        row["after"] = " ".join(ids[t] for t in row["after"].split())
        row["repeat_of"] = ids.get(row["repeat_of"], "")
    _write(folder / "plan.csv", plan)
    log = _rows(folder / "log.csv")
    for row in log:
        stage = f"SECRET {row['stage']}" if row["stage"] else ""
        row |= {"task": ids.get(row["task"], ""), "note": "SECRET", "builders": "SECRETA", "stage": stage}
        row["type"] = "SECRET-outside" if stage else ""
    _write(folder / "log.csv", log)
    for name in ("deliveries.csv", "away.csv"):
        (folder / name).unlink(missing_ok=True)
    _write(folder / "plan.csv", [row | {"delivery": ""} for row in plan])


def _rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _write(path, rows):
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)


def test_finish_says_that_priors_are_pooled(pooled, tmp_path):
    (folder,) = write_club(tmp_path, 1, tasks=8, until=0.1)
    write_priors(tmp_path / "club.json", pooled)
    asked = ["finish", str(folder), "--as-of", "2026-06-30", "--runs", "20", "--no-keep"]
    with_priors = [*asked, "--priors", str(tmp_path / "club.json")]
    plain = json.loads(CliRunner().invoke(app, [*asked, "--json"]).stdout)
    said = json.loads(CliRunner().invoke(app, [*with_priors, "--json"]).stdout)
    assert said["basis"] == plain["basis"] | {"priors": "pooled"}
    assert said["build"] != plain["build"]
    assert "priors pooled from 3 other builds (pooled)" in CliRunner().invoke(app, with_priors).stdout


@pytest.fixture
def young(pooled, tmp_path):
    """A build with a short log, and the options that forecast it with pooled priors."""
    (folder,) = write_club(tmp_path, 1, tasks=8, until=0.1)
    write_priors(tmp_path / "club.json", pooled)
    return [str(folder), "--as-of", "2026-06-30", "--priors", str(tmp_path / "club.json")]


@pytest.mark.parametrize("command", ["overruns", "tonight", "crew", "orders"])
def test_the_other_questions_use_pooled_priors_and_name_them(command, young):
    run = CliRunner().invoke(app, [command, *young, *([] if command == "overruns" else ["--runs", "20"])])
    assert run.exit_code == 0, run.output
    assert "priors pooled from 3 other builds (pooled)" in run.stdout


BACK_TEST = (
    "The back-test used these pooled priors on every past day, although the builds they come from may "
    "have finished later: it can look better than forecasts made on those days."
)


def test_a_back_test_with_pooled_priors_warns_of_hindsight(young):
    run = CliRunner().invoke(app, ["record", *young, "--runs", "20"])
    assert run.exit_code == 0, run.output
    assert run.stdout.splitlines()[-1] == BACK_TEST
    without = CliRunner().invoke(app, ["record", *young[:3], "--runs", "20"])
    assert "pooled priors" not in without.stdout


def test_a_report_with_pooled_priors_names_them_and_warns_of_hindsight(young, tmp_path):
    page = tmp_path / "page.html"
    run = CliRunner().invoke(app, ["report", *young, "--runs", "20", "-o", str(page)])
    assert run.stdout.splitlines() == [f"Wrote {page}.", BACK_TEST]
    assert "priors pooled from 3 other builds (pooled)" in page.read_text(encoding="utf-8")


def test_a_type_nobody_here_has_worked_on_rests_on_pooled_builds(pooled):
    plan = plan_of({}, {}, {"type": "paint"})
    fitted = fitted_build(plan, done=0)
    nobody = fit_build(fitted.build, AS_OF, replace(QUICK, priors=pooled))
    assert set(nobody.effort.types_["basis"]) == {"pooled"}
    assert set(fitted.effort.types_["basis"]) == {"prior"}
    assert nobody.bench.basis_["level"] == "pooled"


def test_types_of_other_builders_move_the_hours_of_a_type():
    plan = plan_of(*[{} for _ in range(4)], {"type": "paint"})
    progress = read_progress(plan, fitted_build(plan, done=0).build.sessions, AS_OF)

    def hours(priors):
        model = EffortModel(priors=priors, draws=200).fit(progress, np.random.default_rng(0))
        return np.median(model.sample_first_time_hours(4000, np.random.default_rng(1)), axis=0)

    known = hours(EffortPriors(type_level={"paint": np.log(3.0)}))
    assert known[4] / hours(EffortPriors())[4] == pytest.approx(3.0, rel=0.1)


def test_a_builder_unlike_the_others_is_not_dragged_along():
    """The club is sure of two and a half times the plan; this log says once, task after task."""
    noise = np.exp(np.random.default_rng(4).normal(0.0, 0.4, 40))
    kinds = ("fit", "drill", "rivet", "prime", "cut", "seal")
    plan = plan_of(*[{"planned_hours": 4 * x, "type": kinds[i % 6]} for i, x in enumerate(noise)])
    log = [
        {"date": f"2026-05-{n + 1:02d}", "hours": 4, "task": f"T{n}", "type": kinds[n % 6], "done": True}
        for n in range(24)
    ]
    progress = read_progress(plan, sessions_frame(log), AS_OF)
    sure = EffortPriors(level=Normal(centre=np.log(2.5), sd=0.15), degrees=4.0, builds=50)

    def fit(priors):
        found = []
        for seed in range(4):  # one chain is too short to tell levels apart by a fifth
            model = EffortModel(priors=priors).fit(progress, np.random.default_rng(seed))
            hours = np.median(model.sample_remaining(2000, np.random.default_rng(1)).hours.sum(axis=1))
            found.append((hours, np.median(model.posterior_.fixed[:, 0])))
        return np.mean(found, axis=0)

    (own, _), (free, effect), (_, held) = (
        fit(priors) for priors in (EffortPriors(), sure, replace(sure, degrees=np.inf))
    )
    assert free == pytest.approx(own, rel=0.15)
    assert effect < held - 0.2
    assert abs(effect) < held / 2


def test_a_heavy_tail_lets_the_hours_of_a_week_go_their_own_way():
    plan = plan_of(*[{} for _ in range(40)])
    fitted = fitted_build(plan, done=8)
    sure = BenchPriors(weekly_log_hours=np.log(40.0), weekly_log_sd=0.1, degrees=4.0, builds=50)

    def weekly(belief):
        bench = BenchTime(priors=belief).fit(fitted.progress, fitted.build.builders)
        level = bench.learned_.level
        return float(np.exp(level.weight @ level.mean[:, 0]))

    assert weekly(BenchPriors()) < weekly(sure) < weekly(replace(sure, degrees=np.inf))


def test_a_log_moves_the_weight_between_pooled_and_built_in_beliefs():
    """Half the plan, task after task, where the club is sure of two and a half times; then the club's own."""
    plan = plan_of(*[{"planned_hours": 4} for _ in range(30)])
    club = EffortPriors(level=Normal(centre=np.log(2.5), sd=0.1), builds=50, built_in_weight=0.1)

    def fit(hours, priors):
        log = [
            {"date": f"2026-05-{n + 1:02d}", "hours": hours, "task": f"T{n}", "type": "general", "done": True}
            for n in range(8)
        ]
        return EffortModel(priors=priors).fit(
            read_progress(plan, sessions_frame(log), AS_OF), np.random.default_rng(3)
        )

    def left(model):
        return np.median(model.sample_remaining(2000, np.random.default_rng(1)).hours.sum(axis=1))

    unlike, alike = fit(2.0, club), fit(10.0, club)
    assert unlike.pooled_weight_ < 0.02
    assert alike.pooled_weight_ > 0.9
    assert left(unlike) == pytest.approx(left(fit(2.0, EffortPriors())), rel=0.1)
    assert any("unlike those of the pooled builds" in note for note in unlike.notes_)
    assert not any("unlike those of the pooled builds" in note for note in alike.notes_)


def test_draws_of_the_built_in_fit_mean_the_same_among_pooled_ones():
    """Types that others showed are told apart from the builder's own: the sum of both is what counts."""
    plan = plan_of(*[{"planned_hours": 4, "type": "paint"} for _ in range(30)])
    log = [
        {"date": f"2026-05-{n + 1:02d}", "hours": 4, "task": f"T{n}", "type": "paint", "done": True}
        for n in range(12)
    ]
    progress = read_progress(plan, sessions_frame(log), AS_OF)
    odd = EffortPriors(type_level={"paint": 3.0}, type_level_scale=0.05, builds=50, built_in_weight=0.1)
    hours = [
        np.median(EffortModel(priors=p).fit(progress, np.random.default_rng(0)).expected_hours_)
        for p in (odd, EffortPriors())
    ]
    mixed = EffortModel(priors=odd).fit(progress, np.random.default_rng(0))
    assert mixed.pooled_weight_ < 0.02
    total = mixed.posterior_.fixed[:, 0] + mixed.posterior_.type_level[:, 0] + 3.0
    assert np.median(total) == pytest.approx(0.0, abs=0.2)
    assert hours[0] == pytest.approx(hours[1], rel=0.1)


def test_habits_unlike_those_of_the_club_lean_on_the_built_in_ones():
    plan = plan_of(*[{} for _ in range(40)])
    fitted = fitted_build(plan, done=8)
    weekdays = (0.9, 0.9, 0.9, 0.9, 0.05, 0.05, 0.05)
    club = BenchPriors(
        weekly_log_hours=np.log(40.0), weekly_log_sd=0.1, day_chance=weekdays, day_weeks=4.0, builds=50
    )

    def weekly(belief):
        bench = BenchTime(priors=belief).fit(fitted.progress, fitted.build.builders)
        level = bench.learned_.level
        assert level.weight.sum() == pytest.approx(1.0)
        return bench.pooled_weight_, float(np.exp(level.weight @ level.mean[:, 0]))

    (weight, mixed), (whole, plain) = weekly(replace(club, built_in_weight=0.1)), weekly(BenchPriors())
    assert weight < 0.05
    assert whole == 1.0
    assert mixed == pytest.approx(plain, rel=0.1)


def test_the_file_says_how_likely_a_stranger_is(pooled, tmp_path):
    write_priors(tmp_path / "club.json", pooled)
    data = json.loads((tmp_path / "club.json").read_text(encoding="utf-8"))
    assert 0.02 <= data["built_in_weight"] == pooled.effort.built_in_weight <= 0.1
    data["built_in_weight"] = 0.2
    (tmp_path / "club.json").write_text(json.dumps(data), encoding="utf-8")
    again = read_priors(tmp_path / "club.json")
    assert again.effort.built_in_weight == again.bench.built_in_weight == 0.2
