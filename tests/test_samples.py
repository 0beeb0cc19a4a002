"""The invented builds of sample_logs/: reproducible from a seed, and without problems."""

from pathlib import Path

import pytest

from benchmarks.invented.workshop.samples import SAMPLES, write_sample
from forecast.files.folder import read_build

ROOT = Path(__file__).resolve().parents[1]
FOLDERS = ROOT / "sample_logs"


@pytest.mark.parametrize("name", sorted(SAMPLES))
def test_a_sample_is_reproduced_byte_by_byte(name, tmp_path):
    write_sample(name, tmp_path)
    committed = {p.name: p.read_bytes() for p in (FOLDERS / name).iterdir() if p.is_file()}
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == committed


@pytest.mark.parametrize("name", sorted(SAMPLES))
def test_a_sample_reads_without_a_problem_or_a_notice(name):
    assert read_build(FOLDERS / name).notices == ()


def test_the_floatplane_never_uses_more_temporary_fasteners_than_there_are():
    made = SAMPLES["turnstone"].make()
    rows = made.build.sessions.loc[made.build.sessions["task"] != ""]
    begun = rows.groupby("task")["date"].min()
    done = rows.loc[rows["done"]].groupby("task")["until"].min()
    events = []
    for t in made.build.plan.tasks:
        for use in t.uses:
            events += [(begun[t.task], 1, use.amount), (done[t.task], 0, -use.amount)]
    in_use, most = 0.0, 0.0
    for _, _, amount in sorted(events):  # on one day, fasteners are returned before others are taken
        in_use += amount
        most = max(most, in_use)
    assert 100.0 < most <= made.build.limits[0].amount
