"""Jobs that cost nothing, and jobs that a worker does not survive."""

import os
import signal
from pathlib import Path


def double(data: bytes) -> dict[str, int]:
    """Double a number."""
    return {"twice": 2 * int(data)}


def stop_worker_on_seven(data: bytes) -> dict[str, int]:
    """Kill the worker whenever the number is seven."""
    if int(data) == 7:
        os.kill(os.getpid(), signal.SIGKILL)
    return double(data)


def stop_worker_once(data: bytes) -> dict[str, int]:
    """Kill the worker the first time; `data` is a number and the path of a file that marks the first time."""
    number, _, memory = data.decode().partition(" ")
    if memory and not Path(memory).exists():
        Path(memory).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return double(number.encode())
