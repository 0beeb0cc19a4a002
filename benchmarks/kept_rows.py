"""Long studies in parts: each part is kept when it is done, so that a study that stops goes on later."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any


def kept_rows(keep: Path | None, parts: Sequence[tuple], study: Callable[..., Any]) -> list[Any]:
    """What `study(*part)` found for each part, from `keep` where it is there already.

    Parameters
    ----------
    keep : file with one JSON line a part, appended to; None keeps nothing
    parts : what tells the parts apart, JSON values, seeds included
    study : its answer must be JSON values too
    """
    found = {}
    if keep is not None and keep.exists():
        for line in keep.read_text(encoding="utf-8").splitlines():
            one = json.loads(line)
            found[tuple(one["part"])] = one["found"]
    for part in parts:
        if part in found:
            continue
        found[part] = study(*part)
        if keep is not None:
            with keep.open("a", encoding="utf-8") as lines:
                lines.write(json.dumps({"part": part, "found": found[part]}, default=float) + "\n")
    return [found[part] for part in parts]
