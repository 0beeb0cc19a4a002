"""The kind of work that a few words describe: a text classifier over a small vocabulary of the trade.

Character n-grams cope with spellings such as `debured lower skins` or `csk longeron` better than words do.
The vocabulary is our own and small; the builder's corrections are learned together with it and weigh more.
Below a given certainty no type is claimed, and the type stays `general`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import cycle, islice
from typing import Any

import numpy as np

from forecast.intake.cells.phrases import read_words
from forecast.intake.sheet_cells import one_line
from forecast.wording import format_percent

GENERAL = "general"
# Judgements; tests/test_intake_words.py requires a minimum accuracy on evaluation.csv.
LEAST_CERTAINTY = 0.5
_OBJECTS_PER_PHRASE = 3
_CORRECTION_WEIGHT = 10.0  # one correction counts as much as ten phrases of the vocabulary
_PENALTY_INVERSE = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TypeAccuracy:
    """Accuracy of the task types on texts that were not used for training.

    Attributes
    ----------
    texts : number of texts
    right : number with the right type, `general` included where that is right
    claimed, claimed_right : number with a type other than general, and number of these that are right
    """

    texts: int
    right: int
    claimed: int
    claimed_right: int

    def __str__(self) -> str:
        return (
            f"{self.right} of {self.texts} texts get the right type; a type is claimed for {self.claimed} of "
            f"them and is right for {format_percent(self.claimed_right / max(self.claimed, 1))} of these"
        )


@dataclass(frozen=True, kw_only=True)
class Example:
    """One text of the evaluation set."""

    text: str
    type: str
    not_building: bool
    rework: bool


class TaskTypes:
    """Classifier of task texts.

    Parameters
    ----------
    corrections : text -> type, as the builder corrects it; new types are allowed
    certainty : least probability at which a type is claimed

    Attributes (after `fit`)
    ------------------------
    classes_ : the types that it can tell apart

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
        """Fit to the vocabulary and the corrections."""
        from sklearn.feature_extraction.text import TfidfVectorizer
        from sklearn.linear_model import LogisticRegression
        from sklearn.pipeline import make_pipeline
        from threadpoolctl import threadpool_limits

        texts, types = training_texts()
        own = [(one_line(t), k) for t, k in sorted(self.corrections.items()) if k != GENERAL]
        weights = np.array([1.0] * len(texts) + [_CORRECTION_WEIGHT] * len(own))
        # Two to five letters: long enough for the stem of a word, short enough to survive a typing error.
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
        """Probability of each type, shape (texts, classes)."""
        if not texts:
            return np.zeros((0, len(self.classes_)))
        return np.asarray(self.model_.predict_proba([one_line(t) for t in texts]))

    def suggest(self, texts: Sequence[str]) -> list[str]:
        """The type of each text: as corrected, or the most probable one, `general` below the certainty."""
        unique = sorted({one_line(t) for t in texts})
        chances = self.probabilities(unique)
        found = {
            text: self.classes_[int(row.argmax())] if text and row.max() >= self.certainty else GENERAL
            for text, row in zip(unique, chances, strict=True)
        }
        return [self._own.get(one_line(t).casefold(), found[one_line(t)]) for t in texts]


def fitted_types(corrections: Mapping[str, str]) -> TaskTypes:
    """The classifier fitted with these corrections, cached for the process."""
    return _fitted(tuple(sorted(corrections.items())))


@lru_cache(maxsize=8)
def _fitted(corrections: tuple[tuple[str, str], ...]) -> TaskTypes:
    return TaskTypes(corrections=dict(corrections)).fit()


@cache
def training_texts() -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The vocabulary as phrases and their types: every word alone and with a few objects of the trade.

    The objects rotate in a fixed order, so that each type occurs with all of them and no object gives the
    type away.
    """
    objects = cycle([row["object"] for row in read_words("objects.csv")])
    texts, types = [], []
    for row in read_words("vocabulary.csv"):
        for phrase in row["words"].split("; "):
            texts += [phrase, *(f"{phrase} {thing}" for thing in islice(objects, _OBJECTS_PER_PHRASE))]
            types += [row["type"]] * (1 + _OBJECTS_PER_PHRASE)
    return tuple(texts), tuple(types)


@cache
def evaluation_texts() -> tuple[Example, ...]:
    """Texts written independently of the vocabulary and never trained on, with the right answers."""
    return tuple(
        Example(
            text=row["text"],
            type=row["type"],
            not_building=bool(row["not_building"]),
            rework=bool(row["rework"]),
        )
        for row in read_words("evaluation.csv")
    )


def held_out_accuracy(types: TaskTypes) -> TypeAccuracy:
    """Accuracy of a fitted classifier on the evaluation texts that are building."""
    building = [e for e in evaluation_texts() if not e.not_building]
    pairs = list(zip(types.suggest([e.text for e in building]), (e.type for e in building), strict=True))
    return TypeAccuracy(
        texts=len(pairs),
        right=sum(suggested == right for suggested, right in pairs),
        claimed=sum(suggested != GENERAL for suggested, _ in pairs),
        claimed_right=sum(suggested == right != GENERAL for suggested, right in pairs),
    )


def corrections_in(log: Sequence[tuple[str, str]]) -> dict[str, str]:
    """Corrections that the builder made in the log: types other than those that a take proposes.

    `log` holds note and type of each row outside the plan; the text of a note ends at its first `|`.
    """
    logged = {note.split("|")[0].strip(): kind for note, kind in log if note and kind != GENERAL}
    if not logged:
        return {}
    proposed = fitted_types({}).suggest(list(logged))
    return {text: kind for (text, kind), was in zip(logged.items(), proposed, strict=True) if kind != was}
