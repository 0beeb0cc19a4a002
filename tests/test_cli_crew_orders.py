"""The commands crew, orders and take as a builder types them."""

import json
import shutil

import pytest

from tests.test_cli import DAY, QUANTILES, SAMPLES, TURNSTONE, benchdays

FEW = ["--as-of", DAY, "--runs", 100]


def test_crew_starts_with_the_gain_and_its_range():
    printed = benchdays("crew", TURNSTONE, *FEW).stdout.splitlines()
    assert "days sooner" in printed[0] or "does not" in printed[0]
    assert any("Alone" in line for line in printed)


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


def test_orders_start_with_a_sentence():
    assert "order" in benchdays("orders", TURNSTONE, *FEW).stdout.splitlines()[0]


def test_orders_with_nothing_to_order():
    printed = benchdays("orders", SAMPLES / "dinghy", "--runs", 50).stdout
    assert printed.startswith("Nothing has to be ordered")


@pytest.fixture
def sheet(tmp_path):
    return shutil.copy(SAMPLES / "messy" / "shed.csv", tmp_path)


def test_take_shows_how_it_reads_the_file_and_writes_nothing_unasked(sheet, tmp_path):
    printed = benchdays("take", sheet, tmp_path / "new").stdout
    assert "Nothing was written" in printed
    assert not (tmp_path / "new").exists()
