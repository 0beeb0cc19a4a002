"""What kind of work a few words describe: a text classifier over a small vocabulary of the trade.

Builders write `debured lower skins` or `csk longeron`; letters (character n-grams) stand such spellings
better than words do. The vocabulary is our own and small; the builder's corrections are learned with it
and weigh more. Below a stated certainty nothing is claimed: the type stays `general`.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources
from typing import Any

import numpy as np

from forecast.intake.sheet_cells import one_line
from forecast.wording import format_percent

GENERAL = "general"
LEAST_CERTAINTY = 0.5
_OBJECTS_A_PHRASE = 3
_CORRECTION_WEIGHT = 10.0
_PENALTY_INVERSE = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TypeAccuracy:
    """How well the types hold on texts that the training did not see.

    Attributes
    ----------
    texts : how many texts were tried
    right : how many got the right type, `general` included where that is right
    claimed, claimed_right : how many got a type other than general, and how many of these were right
    """

    texts: int
    right: int
    claimed: int
    claimed_right: int

    def __str__(self) -> str:
        return (
            f"{self.right} of {self.texts} texts get the right type; a type is claimed for {self.claimed} of "
            f"them and is right {format_percent(self.claimed_right / max(self.claimed, 1))} of the time"
        )


@dataclass(frozen=True, kw_only=True)
class Example:
    """One text of the evaluation set."""

    text: str
    type: str
    not_building: bool
    rework: bool


class TaskTypes:
    """The classifier of task texts.

    Parameters
    ----------
    corrections : the builder's own word, text -> type; new types may be named
    certainty : least probability at which a type is claimed

    Attributes (after `fit`)
    ------------------------
    classes_ : the types it can tell apart

    Examples
    --------
    >>> types = TaskTypes().fit()
    >>> types.suggest(["deburring more ribs", "something"])
    ['deburr', 'general']
    >>> TaskTypes(corrections={"plotter work": "cut"}).fit().suggest(["Plotter work"])
    ['cut']
    """

    def __init__(
        self, *, corrections: Mapping[str, str] | None = None, certainty: float = LEAST_CERTAINTY
    ) -> None:
        self.corrections = dict(corrections or {})
        self.certainty = certainty

    def fit(self) -> TaskTypes:
        """Learn from the vocabulary and the corrections."""
        from sklearn.feature_extraction.text import TfidfVectorizer
        from sklearn.linear_model import LogisticRegression
        from sklearn.pipeline import make_pipeline
        from threadpoolctl import threadpool_limits

        texts, types = training_texts()
        own = [(one_line(t), k) for t, k in sorted(self.corrections.items()) if k != GENERAL]
        weights = np.array([1.0] * len(texts) + [_CORRECTION_WEIGHT] * len(own))
        self.model_: Any = make_pipeline(
            TfidfVectorizer(analyzer="char_wb", ngram_range=(2, 5), sublinear_tf=True, lowercase=True),
            LogisticRegression(C=_PENALTY_INVERSE, max_iter=500),
        )
        with threadpool_limits(1):
            self.model_.fit(
                [*texts, *(t for t, _ in own)],
                [*types, *(k for _, k in own)],
                logisticregression__sample_weight=weights,
            )
        self.classes_ = tuple(map(str, self.model_.classes_))
        self._own = {one_line(t).casefold(): k for t, k in self.corrections.items()}
        return self

    def probabilities(self, texts: Sequence[str]) -> np.ndarray:
        """(text, class) probability of each type of `classes_`."""
        cleaned = [one_line(t) for t in texts]
        return (
            np.asarray(self.model_.predict_proba(cleaned)) if cleaned else np.zeros((0, len(self.classes_)))
        )

    def suggest(self, texts: Sequence[str]) -> list[str]:
        """The type of each text, `general` below the certainty; what was corrected is what was said."""
        unique = sorted({one_line(t) for t in texts})
        chances = self.probabilities(unique)
        found = {
            text: self.classes_[int(row.argmax())] if text and row.max() >= self.certainty else GENERAL
            for text, row in zip(unique, chances, strict=True)
        }
        return [self._own.get(one_line(t).casefold(), found[one_line(t)]) for t in texts]


def fitted_types(corrections: Mapping[str, str]) -> TaskTypes:
    """The classifier that has learned these corrections; the same ones are learned once a process."""
    return _fitted(tuple(sorted(corrections.items())))


@lru_cache(maxsize=8)
def _fitted(corrections: tuple[tuple[str, str], ...]) -> TaskTypes:
    return TaskTypes(corrections=dict(corrections)).fit()


@cache
def training_texts() -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The vocabulary as phrases with their types: every word alone and with a few objects of the trade.

    The objects go round in a fixed order, so that each type meets all of them and none of them tells
    the type.
    """
    objects = [row["object"] for row in _read_words("objects.csv")]
    texts, types = [], []
    place = 0
    for row in _read_words("vocabulary.csv"):
        for phrase in row["words"].split("; "):
            texts.append(phrase)
            types.append(row["type"])
            for _ in range(_OBJECTS_A_PHRASE):
                texts.append(f"{phrase} {objects[place % len(objects)]}")
                types.append(row["type"])
                place += 1
    return tuple(texts), tuple(types)


@cache
def evaluation_texts() -> tuple[Example, ...]:
    """Texts written apart from the vocabulary, never trained on, with what is right for each."""
    return tuple(
        Example(
            text=row["text"],
            type=row["type"],
            not_building=bool(row["not_building"]),
            rework=bool(row["rework"]),
        )
        for row in _read_words("evaluation.csv")
    )


def held_out_accuracy(types: TaskTypes) -> TypeAccuracy:
    """How a fitted classifier does on the evaluation texts (those that are building)."""
    building = [e for e in evaluation_texts() if not e.not_building]
    return _accuracy(types.suggest([e.text for e in building]), [e.type for e in building])


def corrections_left_out(corrections: Mapping[str, str], folds: int = 5) -> TypeAccuracy:
    """How the builder's corrections would have been told, each by a fit that had not seen it."""
    items = sorted(corrections.items())
    told: list[str] = []
    right: list[str] = []
    for fold in range(min(folds, len(items))):
        kept = {t: k for i, (t, k) in enumerate(items) if i % folds != fold}
        asked = [(t, k) for i, (t, k) in enumerate(items) if i % folds == fold]
        told += TaskTypes(corrections=kept).fit().suggest([t for t, _ in asked])
        right += [k for _, k in asked]
    return _accuracy(told, right)


def corrections_in(log: Sequence[tuple[str, str]]) -> dict[str, str]:
    """What the builder has corrected in the log: rows whose type is not the one that a take proposes.

    `log` holds the note and the type of rows outside the plan; the words of a note end at its first `|`.
    """
    said = {note.split("|")[0].strip(): kind for note, kind in log if note and kind != GENERAL}
    if not said:
        return {}
    proposed = fitted_types({}).suggest(list(said))
    return {text: kind for (text, kind), was in zip(said.items(), proposed, strict=True) if kind != was}


def _accuracy(told: Sequence[str], right: Sequence[str]) -> TypeAccuracy:
    pairs = list(zip(told, right, strict=True))
    return TypeAccuracy(
        texts=len(pairs),
        right=sum(t == r for t, r in pairs),
        claimed=sum(t != GENERAL for t, _ in pairs),
        claimed_right=sum(t == r != GENERAL for t, r in pairs),
    )


def _read_words(name: str) -> list[dict[str, str]]:
    source = resources.files("forecast") / "intake" / "words" / name
    return list(csv.DictReader(source.read_text(encoding="utf-8").splitlines()))
