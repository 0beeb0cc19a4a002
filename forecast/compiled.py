"""Compiling what is played ten thousand times, and keeping it for the next command."""

from __future__ import annotations

import subprocess
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from numba import njit

_compiling: list[subprocess.Popen[bytes]] = []
_one_waits = threading.Lock()


def compile_cached(function: Callable[..., Any]) -> Any:
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


def compile_in_other_process(process: subprocess.Popen[bytes]) -> None:
    """Whatever is played first waits until that process has compiled it."""
    with _one_waits:
        _compiling.append(process)


def wait_for_other_process() -> None:
    """Wait until another process, if one was begun, has compiled and kept what is about to be played."""
    if _compiling:
        with _one_waits:
            while _compiling:
                _compiling[-1].wait()
                _compiling.pop()
