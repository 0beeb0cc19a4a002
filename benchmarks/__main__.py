"""Run every study, one after the other: `python -m benchmarks`."""

import importlib
import pkgutil
import sys
import time

import benchmarks


def main() -> None:
    """Run the `main()` of each study in this folder with its own defaults."""
    names = sorted(m.name for m in pkgutil.iter_modules(benchmarks.__path__) if not m.name.startswith("_"))
    for name in names:
        module = importlib.import_module(f"benchmarks.{name}")
        if not hasattr(module, "main"):
            continue
        print(f"== {name}", flush=True)
        begun = time.perf_counter()
        sys.argv = [name]
        module.main()
        print(f"   {time.perf_counter() - begun:.0f} s", flush=True)


if __name__ == "__main__":
    main()
