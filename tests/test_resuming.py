"""Long studies: finished parts are cached, interrupted ones are done again, settings are checked."""

import argparse

import numpy as np
import pandas as pd
import pytest

from benchmarks.resuming import ResumableCases, add_arguments, run_parts

PARTS = [("steady", number) for number in range(4)]
SETTINGS = {"seed": 5, "runs": 9}


@pytest.fixture
def done():
    return []


@pytest.fixture
def study(done):
    def one(kind, number):
        done.append(number)
        return [{"build": number, "crps": np.float64(number) / 3, "inside": np.bool_(True)}]

    return one


def test_a_resumed_study_does_no_part_twice_and_redoes_one_that_was_interrupted(tmp_path, done, study):
    cases = ResumableCases(tmp_path / "cases.jsonl", SETTINGS)
    assert cases.run(PARTS, study, share=(1, 2)) is None
    assert done == [0, 2]
    cases.file.write_bytes(cases.file.read_bytes()[:-9])
    found = cases.run(PARTS, study)
    assert sorted(done) == [0, 1, 2, 2, 3]
    assert found == [[{"build": n, "crps": n / 3, "inside": True}] for n in range(4)]


def test_shares_of_two_processes_are_all_parts(tmp_path, done, study):
    file = tmp_path / "cases.jsonl"
    assert ResumableCases(file, SETTINGS).run(PARTS, study, share=(1, 2)) is None
    assert len(ResumableCases(file, SETTINGS).run(PARTS, study, share=(2, 2))) == 4
    assert sorted(done) == [0, 1, 2, 3]


def test_a_file_made_with_other_settings_is_refused(tmp_path, study):
    ResumableCases(tmp_path / "cases.jsonl", SETTINGS).run(PARTS, study)
    with pytest.raises(SystemExit, match=r"cases.jsonl was made with runs 9; this study uses 10\."):
        ResumableCases(tmp_path / "cases.jsonl", SETTINGS | {"runs": 10}).read()


def test_parts_with_lists_and_cases_without_a_file_are_found_again(tmp_path):
    part = ("newcomer", 1, ("built in", "5"))
    for file in (None, tmp_path / "new folder" / "cases.jsonl"):
        cases = ResumableCases(file, SETTINGS)
        cases.append(part, [{"crps": float("nan")}])
        (row,) = cases.read()[part]
        assert np.isnan(row["crps"])


def test_a_case_that_is_no_json_value_is_refused(tmp_path):
    with pytest.raises(TypeError, match="set is no JSON value"):
        ResumableCases(tmp_path / "cases.jsonl", SETTINGS).append(("x",), {1, 2})


def test_the_rows_of_all_parts_are_one_frame(tmp_path, study):
    parser = argparse.ArgumentParser()
    add_arguments(parser)
    given = parser.parse_args(["--cases", str(tmp_path / "cases.jsonl")])
    given.seed = 5
    found = run_parts(PARTS, study, given, ("seed",))
    pd.testing.assert_series_equal(found["build"], pd.Series(range(4), name="build"))


@pytest.mark.parametrize("text", ["0/2", "3/2", "1"])
def test_an_impossible_share_is_refused(text):
    parser = argparse.ArgumentParser(exit_on_error=False)
    add_arguments(parser)
    with pytest.raises(argparse.ArgumentError, match="--part"):
        parser.parse_args(["--part", text])
