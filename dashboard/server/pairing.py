"""Who may come in from the home network: a code said once a run, and the devices that knew it."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import time
from collections.abc import Callable

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
CODE_LENGTH = 10
MOST_WRONG = 5
LOCK_SECONDS = 60.0
_MOST_DEVICES = 40
_LOOK_ALIKE = str.maketrans("OIL", "011")


def new_code() -> str:
    """A code of 50 random bits, in letters and digits that cannot be taken for each other."""
    return "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))


def spaced(code: str) -> str:
    """The code as it is read aloud.

    >>> spaced("ABCDE12345")
    'ABCDE-12345'
    """
    half = len(code) // 2
    return f"{code[:half]}-{code[half:]}"


class Pairing:
    """The code of this run, the wrong tries so far, and the devices that gave the right one.

    Nothing of it is written anywhere: when the run ends, every device has to pair again.

    >>> pairing = Pairing("ABCDE12345")
    >>> token = pairing.admit("abcde-12345")
    >>> pairing.knows(token), pairing.knows("guessed"), pairing.admit("wrong") is None
    (True, False, True)
    """

    def __init__(self, code: str | None = None, *, clock: Callable[[], float] = time.monotonic) -> None:
        self.code = code or new_code()
        self._clock = clock
        self._wrong = 0
        self._locked_until = 0.0
        self._devices: list[bytes] = []

    @property
    def locked_seconds(self) -> float:
        """How long no code is looked at any more; 0 when one is."""
        return max(0.0, self._locked_until - self._clock())

    def admit(self, said: str) -> str | None:
        """A token for a device that says the code, None for a wrong code or while locked.

        Five wrong tries, whoever made them, lock everybody out for a minute; devices that are paired
        already stay so.
        """
        if self.locked_seconds:
            return None
        heard = "".join(said.split()).replace("-", "").upper().translate(_LOOK_ALIKE)
        if not hmac.compare_digest(heard.encode(), self.code.encode()):
            self._wrong += 1
            if self._wrong >= MOST_WRONG:
                self._wrong, self._locked_until = 0, self._clock() + LOCK_SECONDS
            return None
        self._wrong = 0
        token = secrets.token_urlsafe(32)
        self._devices = [*self._devices, _digest(token)][-_MOST_DEVICES:]
        return token

    def knows(self, token: str) -> bool:
        """Whether a device holds a token of this run."""
        found = _digest(token)
        return any(hmac.compare_digest(found, device) for device in self._devices)


def _digest(token: str) -> bytes:
    return hashlib.sha256(token.encode()).digest()
