"""The page of the mutation study, from its results and from what was judged of the survivors."""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Iterable
from importlib.metadata import version
from pathlib import Path
from platform import python_version

from benchmarks.mutants import Mutant

HERE = Path(__file__).parent
RESULTS = HERE / "mutation_results.csv"
JUDGEMENTS = HERE / "mutation_judgements.csv"
PAGE = HERE / "mutation_study.md"
KILLED = ("killed", "timeout")
WORDS = ("equivalent", "untested", "cosmetic")
HEAD = """# Do the tests bite?

{drawn} faults were put into the core, one at a time, and the tests that enter the changed function were run
until one failed (seed {seed}; Python {python}, numpy {numpy}, numba {numba}). Of the {done} run so far
the tests noticed {killed} ({share}), {timeouts} of them by not ending in time. Judged equivalent, so that
no test can notice them: {equivalent}. Without these the share is **{of_real}**.

When each was run for the first time the tests noticed {at_first}. Tests added for the survivors raise the
share above and say nothing of other faults: only a seed not used before measures them.
"""


def read_judgements() -> dict[str, dict[str, str]]:
    """Mutant -> its row of mutation_judgements.csv: mutant, judgement (see WORDS) and reason."""
    if not JUDGEMENTS.exists():
        return {}
    with JUDGEMENTS.open(encoding="utf-8", newline="") as file:
        found = {row["mutant"]: row for row in csv.DictReader(file)}
    for name, row in found.items():
        if row["judgement"] not in WORDS:
            raise ValueError(f"{JUDGEMENTS.name}: {name} must be one of {', '.join(WORDS)}.")
    return found


def write_page(mutants: list[Mutant], results: Iterable[dict[str, str]], seed: int) -> None:
    """Write mutation_study.md: the share noticed, per module and per kind, and every survivor.

    Parameters
    ----------
    mutants : those drawn; results of others are of older code and not counted
    results : rows of mutation_results.csv; the last one of a mutant counts
    seed : of the draw
    """
    rows = list(results)
    last = {row["mutant"]: row for row in rows}
    first = {row["mutant"]: row for row in reversed(rows)}
    done = [m for m in mutants if m.name in last]
    outcome = {m.name: last[m.name]["outcome"] for m in done}
    judged = read_judgements()
    survivors = [m for m in done if outcome[m.name] not in KILLED]
    killed = len(done) - len(survivors)
    equivalent = sum(judged.get(m.name, {}).get("judgement") == "equivalent" for m in survivors)
    lines = [
        HEAD.format(
            drawn=len(mutants), seed=seed, python=python_version(), numpy=version("numpy"),
            numba=version("numba"), done=len(done), killed=killed, share=_percent(killed, len(done)),
            timeouts=sum(o == "timeout" for o in outcome.values()), equivalent=equivalent,
            at_first=_percent(sum(first[m.name]["outcome"] in KILLED for m in done), len(done)),
            of_real=_percent(killed, len(done) - equivalent),
        ),
        *_shares("module", [(m.file.removeprefix("forecast/"), outcome[m.name]) for m in done]),
        *_shares("kind of change", [(m.kind, outcome[m.name]) for m in done]),
        *_survivors(survivors, last, judged),
        *_timeouts([m for m in done if outcome[m.name] == "timeout"], last),
    ]  # fmt: skip
    PAGE.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _percent(part: int, whole: int) -> str:
    return f"{100 * part / whole:.0f} %" if whole else "none"


def _shares(title: str, rows: list[tuple[str, str]]) -> list[str]:
    groups: dict[str, list[bool]] = defaultdict(list)
    for name, outcome in rows:
        groups[name].append(outcome in KILLED)
    table = [f"| {n} | {len(g)} | {sum(g)} | {len(g) - sum(g)} |" for n, g in sorted(groups.items())]
    return [
        f"## By {title}",
        "",
        f"| {title} | mutants | noticed | survived |",
        "|---|---|---|---|",
        *table,
        "",
    ]


def _survivors(
    survivors: list[Mutant], last: dict[str, dict[str, str]], judged: dict[str, dict[str, str]]
) -> list[str]:
    lines = ["## Survivors", ""]
    if not survivors:
        return [*lines, "None.", ""]
    lines += [
        "Equivalent: no result can differ. Cosmetic: only wording or speed differs.",
        "Untested: a result differs and no test notices. Test files: how many enter the function and, in",
        "parentheses, how many of them were beyond the limit of time and were not run.",
        "",
        "| mutant | place | change | line | test files (not run) | judgement | reason |",
        "|---|---|---|---|---|---|---|",
    ]
    for m in sorted(survivors, key=lambda m: (m.file, m.line)):
        row, verdict = last[m.name], judged.get(m.name, {})
        files = f"{row['test_files']} ({row['left_out']})"
        lines.append(
            f"| {m.name} | {m.file}:{m.line} | {_code(m.change)} | {_code(m.code)} | {files} | "
            f"{verdict.get('judgement', 'not judged yet')} | {verdict.get('reason', '')} |"
        )
    return [*lines, ""]


def _timeouts(slow: list[Mutant], last: dict[str, dict[str, str]]) -> list[str]:
    if not slow:
        return []
    rows = [f"| {m.file}:{m.line} | {_code(m.change)} | {last[m.name]['by']} |" for m in slow]
    return ["## Noticed by not ending", "", "| place | change | test |", "|---|---|---|", *rows, ""]


def _code(text: str) -> str:
    """Code in a cell of a table."""
    return "`" + text.replace("|", "\\|").replace("`", "'") + "`"
