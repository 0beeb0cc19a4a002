"""Numba compilation of the simulation loops, cached on disk for the next command."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from numba import njit


def compile_cached(function: Callable[..., Any]) -> Any:
    """Compile at the first call, with numba's cache; without one where no folder can be written.

    Examples
    --------
    >>> def twice(x):
    ...     return 2 * x
    >>> compile_cached(twice)(3)
    6
    """
    try:
        return njit(cache=True, nogil=True)(function)
    except RuntimeError:  # numba found neither the package's folder nor the user's cache folder writable
        return njit(nogil=True)(function)


def is_compiled(function: Any, source: str) -> bool:
    """Whether a function is compiled or cached; if not, its first call takes some seconds longer.

    Parameters
    ----------
    function : as `compile_cached` returned it
    source : path of the file that defines it
    """
    if function.signatures:
        return True
    # numba has no public question for this: its index files carry the function's name and the source's age.
    folder, file = Path(function.stats.cache_path or ""), Path(source)
    name = f"{file.stem}.{function.py_func.__qualname__}-".replace("<", "").replace(">", "")
    return any(
        index.name.startswith(name) and index.stat().st_mtime >= file.stat().st_mtime
        for index in folder.glob("*.nbi")
    )
