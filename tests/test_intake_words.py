"""Task types from words: what the small vocabulary can do, on texts that it was not learned from."""

import pytest

from forecast.intake.cells.phrases import is_rework, not_building
from forecast.intake.cells.task_types import (
    TaskTypes,
    corrections_in,
    evaluation_texts,
    held_out_accuracy,
    training_texts,
)


@pytest.fixture(scope="module")
def types() -> TaskTypes:
    return TaskTypes().fit()


def test_no_text_is_both_learned_from_and_tested_on():
    learned = {t.casefold() for t in training_texts()[0]}
    assert not learned & {e.text.casefold() for e in evaluation_texts()}


def test_most_held_out_texts_get_their_type(types):
    accuracy = held_out_accuracy(types)
    assert accuracy.right >= 0.85 * accuracy.texts


def test_a_type_that_is_claimed_is_nearly_always_right(types):
    accuracy = held_out_accuracy(types)
    assert accuracy.claimed_right >= 0.93 * accuracy.claimed


def test_chance_alone_would_not_do(types):
    most_frequent = max(
        sum(e.type == kind for e in evaluation_texts() if not e.not_building) for kind in types.classes_
    )
    assert held_out_accuracy(types).right > 5 * most_frequent


def test_below_the_certainty_the_type_stays_general(types):
    assert types.suggest(["left wing", "", "???"]) == ["general"] * 3


def test_a_higher_certainty_claims_less():
    sure = TaskTypes(certainty=0.9).fit()
    assert held_out_accuracy(sure).claimed < held_out_accuracy(TaskTypes().fit()).claimed


def test_letters_stand_spelling(types):
    assert types.suggest(["debured lower skins", "rivetted the spar", "sandign the tip"]) == [
        "deburr", "rivet", "sand",
    ]  # fmt: skip


def test_a_correction_is_obeyed_to_the_letter():
    types = TaskTypes(corrections={"worked on tip": "layup"}).fit()
    assert types.suggest(["Worked on  tip"]) == ["layup"]


def test_a_correction_teaches_similar_texts():
    own = {f"gizmo {part}": "plumb" for part in ("left", "right", "pump", "aft")}
    assert TaskTypes(corrections=own).fit().suggest(["gizmo forward"]) == ["plumb"]


def test_a_new_type_can_be_taught():
    own = {f"rope work {part}": "rigging" for part in ("mast", "boom", "stay", "jib")}
    assert "rigging" in TaskTypes(corrections=own).fit().classes_


def test_only_types_that_differ_from_the_proposal_are_corrections():
    log = [("deburred ribs", "deburr"), ("odd job | wing", "paint"), ("", "paint"), ("x", "general")]
    assert corrections_in(log) == {"odd job": "paint"}


def test_the_same_texts_in_another_order_get_the_same_types(types):
    texts = [e.text for e in evaluation_texts()]
    assert types.suggest(texts[::-1])[::-1] == types.suggest(texts)


def test_not_building_and_rework_are_told_by_rules_on_the_evaluation_texts():
    texts = evaluation_texts()
    assert sum(bool(not_building(e.text)) == e.not_building for e in texts) >= 0.95 * len(texts)
    assert sum(is_rework(e.text) == e.rework for e in texts) >= 0.95 * len(texts)
