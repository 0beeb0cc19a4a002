"""The commands crew, orders and take as a builder types them."""

import json
import shutil

import pytest

from tests.test_cli import DAY, QUANTILES, SAMPLES, TURNSTONE, benchdays

FEW = ["--as-of", DAY, "--runs", 100]


def test_crew_says_the_gain_first_with_its_range():
    said = benchdays("crew", TURNSTONE, *FEW).stdout.splitlines()
    assert "days sooner" in said[0] or "does not" in said[0]
    assert any("Alone" in line for line in said)


def test_the_json_of_crew_has_the_keys_of_the_contract():
    answer = json.loads(benchdays("crew", TURNSTONE, *FEW, "--json").stdout)
    assert {"as_of", "plans", "gain_days", "days_gained_per_helper_hour"} <= set(answer)
    assert [p["plan"] for p in answer["plans"]] == ["solo", "two", "helper"]
    for plan in answer["plans"]:
        assert {"plan", "stages", "build", "person_hours"} <= set(plan)
    assert set(answer["gain_days"]) == {"two", "helper"}
    assert set(answer["gain_days"]["two"]) == QUANTILES


def test_the_json_of_orders_has_the_keys_of_the_contract():
    answer = json.loads(benchdays("orders", TURNSTONE, *FEW, "--json").stdout)
    assert answer["orders"]
    for order in answer["orders"]:
        assert set(order) == {
            "delivery", "needed", "order_by", "probability_late_if_ordered_then", "expected_idle_days",
            "expected_wait_days",
        }  # fmt: skip
        assert set(order["needed"]) == QUANTILES


def test_orders_say_by_when_in_a_sentence():
    assert "order" in benchdays("orders", TURNSTONE, *FEW).stdout.splitlines()[0]


def test_orders_say_when_there_is_nothing_to_order():
    said = benchdays("orders", SAMPLES / "dinghy", "--runs", 50).stdout
    assert said.startswith("Nothing has to be ordered")


@pytest.fixture
def sheet(tmp_path):
    return shutil.copy(SAMPLES / "messy" / "shed.csv", tmp_path)


def test_take_shows_what_it_would_do_and_writes_nothing_unasked(sheet, tmp_path):
    said = benchdays("take", sheet, tmp_path / "new").stdout
    assert "Nothing was written" in said
    assert not (tmp_path / "new").exists()
