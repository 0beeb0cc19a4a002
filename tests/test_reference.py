"""Reference tables: every figure has a source, every table is described, and the code agrees with them."""

import re
from math import exp
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import gammaincinv

from forecast.errors import UsageError
from forecast.files import reference_tables as reference
from forecast.files.reference_tables import (
    METHOD_READERS,
    method_page,
    reference_names,
    reference_path,
    reference_table,
)
from forecast.learn.bench_time import priors as bench_beliefs
from forecast.learn.effort import EffortPriors
from forecast.learn.learning_curve import pieces_remembered, rate_of_slope

NAMES = reference_names()
README = (Path(__file__).resolve().parents[1] / "shared" / "README.md").read_text(encoding="utf-8")
RANGES = [name for name in NAMES if {"low", "high"} <= set(reference_table(name))]


def described_columns(name: str) -> set[str]:
    row = next(line for line in README.splitlines() if line.startswith(f"| {name} |"))
    return {column.strip() for column in row.split("|")[3].split(",")} | {"source"}


def test_the_tables_are_there():
    assert {"learning_rates", "group_work", "bench_habits", "effort_spread", "cautions"} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_every_row_names_its_source(name):
    assert reference_table(name)["source"].str.strip().str.len().min() > 5


@pytest.mark.parametrize("name", NAMES)
def test_every_table_is_described_with_the_columns_it_has(name):
    assert described_columns(name) == set(reference_table(name))


@pytest.mark.parametrize("name", NAMES)
def test_only_a_country_may_be_blank(name):
    table = reference_table(name).drop(columns="country", errors="ignore")
    assert not (table.astype(str) == "").to_numpy().any()


@pytest.mark.parametrize("name", RANGES)
def test_a_range_starts_at_its_lower_end(name):
    table = reference_table(name)
    assert (table["low"] <= table["high"]).all()


@pytest.mark.parametrize("name", RANGES)
def test_no_figure_stands_twice_in_a_table(name):
    assert reference_table(name)["figure"].is_unique


def test_every_learning_rate_says_which_theory_it_means():
    assert set(reference_table("learning_rates")["theory"]) <= {"unit", "cumulative average", "not stated"}


def test_learning_rates_are_shares_not_percentages():
    rates = reference_table("learning_rates")
    assert rates["rate_low"].between(0.5, 1).all()
    assert (rates["rate_low"] <= rates["rate_high"]).all()


def test_a_larger_group_needs_more_person_hours_for_the_same_work():
    assert reference_table("group_work")["person_hours_factor"].is_monotonic_increasing


def test_the_half_time_of_practice_loses_what_its_row_says_it_loses():
    table = reference_table("forgetting").set_index("figure")
    half_days = table.loc["days after which half of the practice is gone", "low"]
    lost = 100 * (1 - pieces_remembered(1.0, [1, 82], half_days=half_days))
    assert lost.round().tolist() == [3, 70]


@pytest.mark.parametrize("name", NAMES)
def test_no_table_carries_an_address_or_a_catalogue_number(name):
    assert not re.search(r"https?://|www\.|\bfs:\d", reference_path(name).read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", ["rates", "../pyproject", "learning_rates.csv", ""])
def test_a_name_that_is_no_table_is_answered_with_those_there_are(name):
    with pytest.raises(UsageError, match=r"no reference table .*learning_rates"):
        reference_table(name)


def test_an_installed_package_reads_the_tables_it_carries(monkeypatch, tmp_path):
    (tmp_path / "learning_rates.csv").write_text("work,source\nriveting,invented\n", encoding="utf-8")
    monkeypatch.setattr(reference, "_INSTALLED", tmp_path)
    expected = pd.DataFrame({"work": ["riveting"], "source": ["invented"]})
    pd.testing.assert_frame_equal(reference_table("learning_rates"), expected)


def test_the_belief_on_shared_work_is_the_tables():
    group = reference_table("group_work").set_index("people")
    assert exp(EffortPriors().shared_work.centre) == pytest.approx(group.loc[2, "person_hours_factor"])


def test_the_belief_on_repeats_leaves_a_part_of_what_was_measured_to_learning():
    measured = exp(np.log(reference_table("repeat_work")["ratio"]).mean())
    assert measured < exp(EffortPriors().repeat.centre) < 1


def test_the_belief_on_learning_lies_among_the_published_rates():
    rates, learning = reference_table("learning_rates"), EffortPriors().learning
    assert rates["rate_low"].min() < rate_of_slope(learning.centre) < rates["rate_high"].max()


def test_the_belief_on_silent_weeks_lies_in_the_measured_range():
    habits = reference_table("bench_habits").set_index("figure")
    low, high = habits.loc["silent week after a worked one", ["low", "high"]]
    assert low <= 1 / (1 + exp(-bench_beliefs.STOP_LOGIT)) <= high


def test_the_belief_on_pairs_is_the_tables():
    habits = reference_table("bench_habits").set_index("figure")
    together = habits.loc["days on which both of a pair came, of those on which either did", "low"]
    assert abs(together - bench_beliefs.BOTH_PRESENT) < 5e-4


def test_the_belief_on_session_lengths_is_the_tables():
    habits = reference_table("bench_habits").set_index("figure")
    low, high = habits.loc["session length, median", ["low", "high"]]
    shape = habits.loc["session length, shape of the gamma distribution", "low"]
    assert shape == bench_beliefs.SESSION_SHAPE
    assert low <= bench_beliefs.SESSION_HOURS * gammaincinv(shape, 0.5) / shape <= high


@pytest.mark.parametrize("reader", METHOD_READERS)
def test_the_method_is_told_for_each_reader(reader):
    page = method_page(reader)
    assert page.startswith("# ")
    assert reader.removesuffix("s") in page.splitlines()[0].lower()


def test_the_method_for_somebody_else_is_refused():
    with pytest.raises(UsageError, match="builders and statisticians"):
        method_page("pilots")
