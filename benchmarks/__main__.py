"""Run every study with its defaults, one after the other: `python -m benchmarks [SUBJECT]`."""

from __future__ import annotations

import pkgutil
import subprocess
import sys
import time

from benchmarks import safety, skill, speed

SUBJECTS = {"safety": safety, "skill": skill, "speed": speed}


def studies(subject: str) -> list[str]:
    """The module names of a subject's studies.

    Examples
    --------
    >>> studies("safety")
    ['benchmarks.safety.intake_fuzz', 'benchmarks.safety.lost_rows']
    """
    package = SUBJECTS[subject]
    return [m.name for m in pkgutil.iter_modules(package.__path__, f"{package.__name__}.")]


def main() -> int:
    """Run the studies; a failed one does not stop the others, but gives an exit code of 1."""
    failed = []
    for study in (s for subject in sys.argv[1:] or SUBJECTS for s in studies(subject)):
        print(f"== {study}", flush=True)
        begun = time.perf_counter()
        # A process of its own: peak memory and processor time must not include those of earlier studies.
        if subprocess.run([sys.executable, "-m", study], check=False).returncode:
            failed.append(study)
        print(f"   {time.perf_counter() - begun:.0f} s", flush=True)
    print(f"Failed: {', '.join(failed) or 'none'}.")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
