"""What several uses of one limit ask together is a problem of its own only where each of them is possible."""

import pytest

from forecast.files.plan import read_plan
from forecast.files.tables import read_table

ALONE = "uses: 'clamps:11' must not exceed the 10 of clamps in build.toml"
TOGETHER = "must not exceed the 10 of clamps in build.toml: the uses add up to 11"


@pytest.mark.parametrize(("uses", "problems"), [
    ("clamps:10", []),
    ("clamps:9 clamps:1@A", []),
    ("clamps:9 clamps:2@A", [f"uses: 'clamps:9 clamps:2@A' {TOGETHER}"]),
    ("clamps:10 clamps:1@A", [f"uses: 'clamps:10 clamps:1@A' {TOGETHER}"]),
    ("clamps:11 clamps:1@A", [ALONE]),
    ("clamps:1@A clamps:11", [ALONE]),
    ("clamps:9 jigs:9", []),
])  # fmt: skip
def test_each_use_and_their_sum_must_be_within_the_limit(uses, problems):
    table = read_table(f"task,stage,uses\nA,s,\nB,s,{uses}\n".encode(), "plan.csv", "plan")
    _, found = read_plan(table, limits={"clamps": 10.0, "jigs": 9.0}, deliveries=set())
    assert [str(p) for p in found] == [f"plan.csv, line 3, {p}." for p in problems]
