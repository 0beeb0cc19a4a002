"""Access from the home network: a code per run of the server, and the devices that entered it."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import time
from collections.abc import Callable

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # 32 characters; none of I, L, O, U
CODE_LENGTH = 10
# At five tries per minute, guessing 50 random bits takes hundreds of millions of years.
MOST_WRONG = 5
LOCK_SECONDS = 60.0
_MOST_DEVICES = 40  # beyond any household; the oldest must pair again
_LOOK_ALIKE = str.maketrans("OIL", "011")


def new_code() -> str:
    """A code of 50 random bits, in letters and digits that do not look alike."""
    return "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))


def spaced(code: str) -> str:
    """The code in two halves, as it is read aloud.

    Examples
    --------
    >>> spaced("ABCDE12345")
    'ABCDE-12345'
    """
    half = len(code) // 2
    return f"{code[:half]}-{code[half:]}"


class Pairing:
    """The code of this run, the wrong tries so far, and the paired devices.

    Nothing is written to disk: after a restart every device has to pair again.

    Parameters
    ----------
    code : ten characters of `ALPHABET`; None draws one
    clock : seconds that never run backwards

    Examples
    --------
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
        """Seconds until a code is accepted again; 0 when it is accepted now."""
        return max(0.0, self._locked_until - self._clock())

    def admit(self, entered: str) -> str | None:
        """A token for a device that enters the code; None for a wrong code or while locked.

        Five wrong tries, by whichever device, lock pairing for a minute; paired devices stay paired.
        """
        if self.locked_seconds:
            return None
        typed = "".join(entered.split()).replace("-", "").upper().translate(_LOOK_ALIKE)
        if not hmac.compare_digest(typed.encode(), self.code.encode()):
            self._wrong += 1
            if self._wrong >= MOST_WRONG:
                self._wrong, self._locked_until = 0, self._clock() + LOCK_SECONDS
            return None
        self._wrong = 0
        token = secrets.token_urlsafe(32)
        self._devices = [*self._devices, _digest(token)][-_MOST_DEVICES:]
        return token

    def knows(self, token: str) -> bool:
        """Whether a device has a token of this run."""
        digest = _digest(token)
        return any(hmac.compare_digest(digest, device) for device in self._devices)


def _digest(token: str) -> bytes:
    return hashlib.sha256(token.encode()).digest()
