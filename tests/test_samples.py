"""The invented builds of sample_logs/: made from a seed, sound, and as a builder would keep them."""

from pathlib import Path

import pytest

from benchmarks.invented.workshop.samples import SAMPLES, write_sample
from forecast.files.folder import read_build

ROOT = Path(__file__).resolve().parents[1]
FOLDERS = ROOT / "sample_logs"


@pytest.mark.parametrize("name", sorted(SAMPLES))
def test_a_sample_made_again_is_the_same_to_the_byte(name, tmp_path):
    write_sample(name, tmp_path)
    kept = {p.name: p.read_bytes() for p in (FOLDERS / name).iterdir() if p.is_file()}
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == kept


@pytest.mark.parametrize("name", sorted(SAMPLES))
def test_a_sample_reads_without_a_problem_or_a_notice(name):
    assert read_build(FOLDERS / name).notices == ()


def test_the_temporary_fasteners_of_the_floatplane_go_round():
    made = SAMPLES["turnstone"].make()
    rows = made.build.sessions.loc[made.build.sessions["task"] != ""]
    begun = rows.groupby("task")["date"].min()
    done = rows.loc[rows["done"]].groupby("task")["until"].min()
    events = []
    for t in made.build.plan.tasks:
        for use in t.uses:
            events += [(begun[t.task], 1, use.amount), (done[t.task], 0, -use.amount)]
    held, most = 0.0, 0.0
    for _, _, amount in sorted(events):  # given back before taken, on one day
        held += amount
        most = max(most, held)
    assert 100.0 < most <= made.build.limits[0].amount
