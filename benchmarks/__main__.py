"""Run every study, one after the other: `python -m benchmarks`."""

import importlib
import pkgutil
import sys
import time

from benchmarks import safety, skill, speed

SUBJECTS = (skill, speed, safety)


def main() -> None:
    """Run the `main()` of each study in these folders with its own defaults."""
    names = [m.name for s in SUBJECTS for m in pkgutil.iter_modules(s.__path__, f"{s.__name__}.")]
    for name in names:
        print(f"== {name}", flush=True)
        begun = time.perf_counter()
        sys.argv = [name]
        importlib.import_module(name).main()
        print(f"   {time.perf_counter() - begun:.0f} s", flush=True)


if __name__ == "__main__":
    main()
