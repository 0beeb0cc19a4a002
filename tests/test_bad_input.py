"""Whatever stands in a build folder, reading it gives a build or plain sentences: never a traceback."""

import os
import random
import stat
import time
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecast.errors import InputError
from forecast.files.csv_file import format_record
from forecast.files.fields import HOURS_RULE, table_schema
from forecast.files.folder import check_build, read_build, start_build
from tests.written_build import CELL, LOG, PLAN, problems_of, write_build

TODAY = date(2026, 11, 25)


def test_a_folder_that_is_not_there_is_one_sentence(tmp_path):
    with pytest.raises(InputError) as raised:
        read_build(tmp_path / "nowhere")
    assert str(raised.value).endswith("nowhere: is not a folder.")


def test_an_empty_folder_says_which_files_are_missing(tmp_path):
    with pytest.raises(InputError) as raised:
        read_build(tmp_path)
    assert str(raised.value).splitlines() == [
        "build.toml: is missing.",
        "log.csv: is missing.",
        "plan.csv: is missing.",
    ]


@pytest.mark.parametrize(
    ("files", "said"),
    [
        ({"log_csv": ""}, "log.csv: is empty: its first line must name the columns."),
        (
            {"log_csv": "date,hours,task\n"},
            "log.csv: has no sessions yet: add one row per session, or use `benchdays log`.",
        ),
        (
            {"plan_csv": "", "log_csv": "date,hours\n2026-03-02,1\n"},
            "plan.csv: is empty: its first line must name the columns.",
        ),
        (
            {"plan_csv": "task,stage\n", "log_csv": "date,hours\n2026-03-02,1\n"},
            "plan.csv: has no tasks yet: add one row per task.",
        ),
        (
            {"log_csv": LOG.replace("D1", "D9", 1)},
            "log.csv, line 2, task: 'D9' must be an id of plan.csv, or blank for work outside the plan.",
        ),
        ({"log_csv": LOG.replace(",2,", ",0,")}, f"log.csv, line 2, hours: '0' {HOURS_RULE}."),
        ({"log_csv": LOG.replace(",2,", ",-1,")}, f"log.csv, line 2, hours: '-1' {HOURS_RULE}."),
        ({"log_csv": LOG.replace(",2,", ",25,")}, f"log.csv, line 2, hours: '25' {HOURS_RULE}."),
        ({"log_csv": LOG.replace(",2,", ",two,")}, f"log.csv, line 2, hours: 'two' {HOURS_RULE}."),
        (
            {"log_csv": LOG.replace("2026-03-02", "2026-13-01")},
            "log.csv, line 2, date: '2026-13-01' must be a date that exists, written YYYY-MM-DD.",
        ),
        (
            {"log_csv": LOG.replace("2026-03-05", "2027-03-05")},
            "log.csv, line 4, date: '2027-03-05' must not lie in the future (today is 2026-11-25).",
        ),
        (
            {"log_csv": LOG + "2026-03-06,1,A,D1,yes\n"},
            "log.csv, line 5, done: 'yes' must occur only once per task: "
            "log.csv, line 3, has already finished D1.",
        ),
        (
            {"plan_csv": PLAN.replace(",6,\n", ",6,R2\n") + "R2,tail,,,,R1\n"},
            "plan.csv, line 2, after: tasks form a cycle: D1 -> R1 -> R2 -> D1.",
        ),
        (
            {"plan_csv": PLAN.replace(",6,", ",0,")},
            "plan.csv, line 2, quantity: '0' must be a number above 0.",
        ),
        (
            {"plan_csv": PLAN.replace("Drill", "Bohren für").encode("latin-1")},
            "plan.csv, line 2: is not UTF-8 (byte 0xfc): save it again in UTF-8.",
        ),
        ({"plan_csv": b"PK\x03\x04\0\0"}, "plan.csv: is not a text file: it must hold text in UTF-8."),
        ({"plan_csv": PLAN.replace("stage", "step", 1)}, "plan.csv, line 1, stage: this column is missing."),
        ({"away_csv": "builder,from\n"}, "away.csv, line 1, to: this column is missing."),
    ],
    ids=lambda x: x if isinstance(x, str) else "",
)
def test_each_bad_input_is_one_sentence(tmp_path, files, said):
    write_build(tmp_path, **files)
    with pytest.raises(InputError) as raised:
        check_build(tmp_path, TODAY)
    assert str(raised.value).splitlines()[0] == said
    assert len(raised.value.problems) == 1


def test_the_problems_of_every_file_come_at_once(tmp_path):
    said = problems_of(
        tmp_path,
        build_toml='[[builder]]\nid = "A"\nweekly_hours = -1\n',
        plan_csv=PLAN.replace(",6,", ",x,"),
        log_csv=LOG.replace(",2,", ",0,").replace("D1,yes", "D7,maybe"),
        away_csv="builder,from,to\n,2026-01-02,2026-01-01\n",
        deliveries_csv="delivery,lead_weeks_low\nK1,-3\n",
    )
    assert {s.split(",")[0].split(":")[0] for s in said} == {
        "build.toml",
        "plan.csv",
        "log.csv",
        "away.csv",
        "deliveries.csv",
    }
    assert sum(s.startswith("log.csv, line 3") for s in said) == 2


def test_nothing_is_written_when_reading_fails(tmp_path):
    write_build(tmp_path, log_csv=LOG.replace(",2,", ",0,"))
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    with pytest.raises(InputError):
        check_build(tmp_path, TODAY)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


@pytest.mark.parametrize("name", ["log.csv", "plan.csv", "build.toml", "away.csv"])
def test_a_folder_in_the_place_of_a_file_is_one_sentence(tmp_path, name):
    write_build(tmp_path)
    (tmp_path / name).unlink(missing_ok=True)
    (tmp_path / name).mkdir()
    with pytest.raises(InputError) as raised:
        read_build(tmp_path)
    assert f"{name}: could not be read: it is not a file of at most 50 MB." in str(raised.value).splitlines()


def test_a_pipe_in_the_place_of_a_file_does_not_hang(tmp_path):
    write_build(tmp_path)
    (tmp_path / "log.csv").unlink()
    os.mkfifo(tmp_path / "log.csv")
    assert stat.S_ISFIFO((tmp_path / "log.csv").stat().st_mode)
    with pytest.raises(InputError, match="could not be read"):
        read_build(tmp_path)


def test_a_file_too_large_to_be_a_log_is_refused_unread(tmp_path):
    write_build(tmp_path)
    with (tmp_path / "log.csv").open("r+b") as file:
        file.truncate(2_000_000_000)
    begun = time.process_time()
    with pytest.raises(InputError, match="at most 50 MB"):
        read_build(tmp_path)
    assert time.process_time() - begun < 1


def test_a_link_that_leads_nowhere_is_a_missing_file(tmp_path):
    write_build(tmp_path)
    (tmp_path / "log.csv").unlink()
    (tmp_path / "log.csv").symlink_to(tmp_path / "gone.csv")
    with pytest.raises(InputError, match="log.csv: is missing"):
        read_build(tmp_path)


def test_a_hundred_thousand_rows_are_read_in_seconds(tmp_path):
    rng = random.Random(0)
    rows = [
        f"{date.fromordinal(727000 + i // 8)},{rng.randrange(1, 2900) / 1000},T{rng.randrange(2000)},n {i}"
        for i in range(100_000)
    ]
    plan = "".join(f"T{i},s{i // 400},{f'T{i - 1}' if i else ''}\n" for i in range(2000))
    write_build(
        tmp_path,
        build_toml='[[builder]]\nid = "A"\n',
        log_csv="date,hours,task,note\n" + "\n".join(rows),
        plan_csv="task,stage,after\n" + plan,
    )
    begun = time.process_time()
    build = read_build(tmp_path)
    assert time.process_time() - begun < 6
    assert len(build.sessions) == 100_000


def test_a_hundred_thousand_bad_rows_are_a_hundred_thousand_problems(tmp_path):
    write_build(tmp_path, log_csv="date,hours\n" + "2026-03-02,0\n" * 100_000)
    begun = time.process_time()
    with pytest.raises(InputError) as raised:
        read_build(tmp_path)
    assert len(raised.value.problems) == 100_000
    assert time.process_time() - begun < 6


@settings(max_examples=50, deadline=None)
@given(st.data())
def test_any_cells_in_any_table_give_a_build_or_sentences(tmp_path_factory, data):
    folder = write_build(tmp_path_factory.mktemp("cells"))
    rows_of = {}
    for name in data.draw(st.sets(st.sampled_from(["plan", "log", "deliveries", "away"]), min_size=1)):
        columns = table_schema(name).columns
        rows_of[name] = data.draw(
            st.lists(st.lists(CELL, min_size=len(columns), max_size=len(columns)), max_size=4)
        )
        text = "\n".join(format_record(r, ",") for r in [list(columns), *rows_of[name]])
        (folder / f"{name}.csv").write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        build = check_build(folder, TODAY)
    except InputError as error:
        build, problems = None, error.problems
    else:
        problems = ()
    assert (build is None) == bool(problems)
    if build is not None and "log" in rows_of:
        assert len(build.sessions) == sum(any(c.strip() for c in r) for r in rows_of["log"])


def test_mutated_files_give_a_build_or_sentences(tmp_path):
    start_build(tmp_path)
    rng = random.Random(0)
    names = sorted(p.name for p in tmp_path.iterdir())
    originals = {name: (tmp_path / name).read_bytes() for name in names}
    refused = []
    for _ in range(120):
        name = rng.choice(names)
        (tmp_path / name).write_bytes(_mutated(originals[name], rng))
        try:
            check_build(tmp_path, TODAY)
        except InputError as error:
            refused.append(str(error))
        (tmp_path / name).write_bytes(originals[name])
    assert 0 < len(refused) < 120
    assert all(refused)


def _mutated(data: bytes, rng: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(rng.randrange(1, 6)):
        at = rng.randrange(len(out) + 1)
        change = rng.randrange(4)
        if change == 0:
            out[at:at] = rng.choice([b",", b'"', b"\n", b"\0", b"\xff", b";", b"-", b"=", b"9", b"[[", b"\r"])
        elif change == 1:
            del out[at : at + rng.randrange(1, 20)]
        elif change == 2:
            out[at : at + 1] = bytes([rng.randrange(256)])
        else:
            begin = rng.randrange(len(out) + 1)
            out[at:at] = out[begin : begin + rng.randrange(40)]
    return bytes(out)
