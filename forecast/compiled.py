"""Compiling what is played ten thousand times, and keeping it for the next command."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from numba import njit


def kept(function: Callable[..., Any]) -> Any:
    """Compile at the first call, and keep what was compiled on this machine.

    Where no folder can be written it is compiled for now only.
    """
    try:
        return njit(cache=True, nogil=True)(function)
    except RuntimeError:
        return njit(nogil=True)(function)


def is_compiled(function: Any, source: str) -> bool:
    """Whether a kept function need not be compiled again: else its first call takes some seconds longer.

    Parameters
    ----------
    function : as `kept` gave it
    source : path of the file that it stands in
    """
    if function.signatures:
        return True
    folder, file = Path(function.stats.cache_path or ""), Path(source)
    name = f"{file.stem}.{function.py_func.__qualname__}-".replace("<", "").replace(">", "")
    return any(
        index.name.startswith(name) and index.stat().st_mtime >= file.stat().st_mtime
        for index in folder.glob("*.nbi")
    )
