"""Jobs of no weight, and jobs that a worker does not survive."""

import os
import signal
from pathlib import Path


def double(data: bytes) -> dict[str, int]:
    """A job that takes no time."""
    return {"twice": 2 * int(data)}


def perish_on_seven(data: bytes) -> dict[str, int]:
    """A job that takes its worker down whenever it is handed a seven."""
    if int(data) == 7:
        os.kill(os.getpid(), signal.SIGKILL)
    return double(data)


def perish_once(data: bytes) -> dict[str, int]:
    """A job that takes its worker down the first time; `data` is a number and a path to remember by."""
    number, _, memory = data.decode().partition(" ")
    if memory and not Path(memory).exists():
        Path(memory).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return double(number.encode())
