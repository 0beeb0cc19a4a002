"""A small build folder on disk, with any of its files replaced, and cells that nobody should write."""

from pathlib import Path

import hypothesis.strategies as st
import pytest

from forecast.errors import InputError
from forecast.files.folder import Build, read_build

BUILD_TOML = 'name = "Stint"\n[[builder]]\nid = "A"\n[[builder]]\nid = "B"\njoins = 2026-03-03\n'
PLAN = "task,stage,title,type,quantity,after\nD1,tail,Drill ribs,drill,6,\nR1,tail,Rivet ribs,rivet,40,D1\n"
LOG = "date,hours,builders,task,done\n2026-03-02,2,A,D1,\n2026-03-04,1.5,A+B,D1,yes\n2026-03-05,1,,,\n"

CELL = st.one_of(
    st.sampled_from(
        [
            "",
            "0",
            "-1",
            "25",
            "two",
            "nan",
            "1:75",
            "2026-13-01",
            "yes",
            "A+2",
            "'=x",
            '"',
            "1e309",
            "\u202e",
            "½",
        ]
    ),
    st.text(max_size=12),
    st.integers().map(str),
    st.floats().map(str),
    st.dates().map(str),
)


def write_build(folder: Path, **files: str | bytes) -> Path:
    """Write a build; `plan_csv="..."` replaces plan.csv, and so on."""
    texts = {"build_toml": BUILD_TOML, "plan_csv": PLAN, "log_csv": LOG, **files}
    folder.mkdir(exist_ok=True, parents=True)
    for key, text in texts.items():
        data = text if isinstance(text, bytes) else text.encode()
        (folder / key.replace("_", ".")).write_bytes(data)
    return folder


def build_of(folder: Path, **files: str | bytes) -> Build:
    """Write a build and read it."""
    return read_build(write_build(folder, **files))


def problems_of(folder: Path, **files: str | bytes) -> list[str]:
    """Write a build and list the problems that reading it raises."""
    with pytest.raises(InputError) as raised:
        build_of(folder, **files)
    return [str(p) for p in raised.value.problems]
