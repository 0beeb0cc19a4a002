"""The command lines of the studies."""

from __future__ import annotations

import argparse
from pathlib import Path

from benchmarks import resuming

_HELP = {
    "builds": "invented builds (of each kind, where there are kinds)",
    "draws": "posterior draws",
    "newcomers": "newcomers to each club",
    "plays": "true simulations per cut",
    "rounds": "timings, of which the median is taken",
    "runs": "simulation runs",
    "seed": "of builds and draws",
    "strangers": "builders unlike the club",
    "tasks": "tasks per build",
}
# Where and how a study runs, which does not change its results.
_NOT_IN_COMMAND = {"cases", "part", "to"}


def parser_of(doc: str | None, *, resumable: bool = False, **defaults: int) -> argparse.ArgumentParser:
    """The parser of a study whose options are whole numbers.

    Parameters
    ----------
    doc : docstring of the study, the text of its `--help`
    resumable : add `--cases` and `--part`; see `resuming`
    defaults : option -> default

    Examples
    --------
    >>> parser_of("A study.", builds=25, seed=1).parse_args(["--seed", "3"])
    Namespace(builds=25, seed=3)
    """
    parser = argparse.ArgumentParser(description=doc, formatter_class=argparse.RawTextHelpFormatter)
    for name, default in defaults.items():
        text = f"{_HELP.get(name, 'number of ' + name)} (default: {default})"
        parser.add_argument(f"--{name.replace('_', '-')}", type=int, default=default, help=text)
    if resumable:
        resuming.add_arguments(parser)
    return parser


def command_of(study: str, given: argparse.Namespace) -> str:
    """The command that reproduces a page, with every option that its results depend on.

    Parameters
    ----------
    study : the file of the study, `__file__`
    given : the parsed command line

    Examples
    --------
    >>> command_of("benchmarks/skill/crew.py", argparse.Namespace(builds=15, members=[5, 50], part=(1, 2)))
    'python -m benchmarks.skill.crew --builds 15 --members 5 50'
    """
    path = Path(study)
    words = ["python", "-m", f"benchmarks.{path.parent.name}.{path.stem}"]
    for name, value in vars(given).items():
        if name not in _NOT_IN_COMMAND:
            values = value if isinstance(value, list) else [value]
            words += [f"--{name.replace('_', '-')}", *map(str, values)]
    return " ".join(words)
