"""Colours that hold: contrast on both grounds, and series that stay apart for colour-blind eyes.

Contrast: Web Content Accessibility Guidelines 2.2, criteria 1.4.3 (text 4.5:1) and 1.4.11 (graphics 3:1).
Colour blindness: Machado, Oliveira & Fernandes 2009, IEEE Transactions on Visualization and Computer Graphics
15:1291-1298, matrices of full severity, on linear RGB (from memory, the same in ten public programs).
Distance: CIELAB 1976; about 2.3 can just be told apart (Mahy et al. 1994, from memory). The distance of 40
that two series must have is a choice of ours.
"""

import json
from itertools import combinations

import altair as alt
import numpy as np
import pandas as pd
import pytest

from dashboard.charts.palette import DARK_BACKGROUND, LIGHT_BACKGROUND, THEME
from forecast.present.charts import dates as charts
from forecast.present.charts import hours as charts_hours
from forecast.present.charts.theme import BAND_OPACITY, PAPER, SCREEN

BLUE, ORANGE, GREY = SCREEN.blue, SCREEN.orange, SCREEN.grey

EYES = {
    "as most": np.eye(3),
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}  # fmt: skip
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
MARKS = {"blue": BLUE, "orange": ORANGE, "grey": GREY}
GROUNDS = {"light": LIGHT_BACKGROUND, "dark": DARK_BACKGROUND}
TEXTS = [
    *((f"theme.{g}.textColor", f"theme.{g}.{ground}") for g in GROUNDS for ground in
      ("backgroundColor", "secondaryBackgroundColor")),
    *((f"theme.{g}.primaryColor", f"theme.{g}.{ground}") for g in GROUNDS for ground in
      ("backgroundColor", "secondaryBackgroundColor")),
    ("theme.dark.linkColor", "theme.dark.backgroundColor"),
]  # fmt: skip


def linear(colour):
    """Linear RGB of a colour like #2f80c2."""
    c = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def contrast(one, other):
    lums = sorted(float(TO_XYZ[1] @ linear(c)) for c in (one, other))
    return (lums[1] + 0.05) / (lums[0] + 0.05)


def lab(colour, eye):
    xyz = TO_XYZ @ np.clip(np.array(eye) @ linear(colour), 0, 1) / TO_XYZ.sum(axis=1)
    f = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def distance(one, other, eye):
    return float(np.linalg.norm(lab(one, eye) - lab(other, eye)))


def test_black_on_white_is_as_far_as_it_goes():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("eye", EYES)
def test_a_grey_stays_a_grey_for_every_eye(eye):
    np.testing.assert_allclose(np.sum(EYES[eye], axis=1), 1.0, atol=2e-6)


@pytest.mark.parametrize(("text", "ground"), TEXTS)
def test_text_can_be_read_on_its_ground(text, ground):
    assert contrast(THEME[text], THEME[ground]) >= 4.5


@pytest.mark.parametrize(("words", "button"), [("#ffffff", "light"), ("#10161c", "dark")])
def test_the_words_on_the_large_button_can_be_read(words, button):
    assert contrast(words, THEME[f"theme.{button}.primaryColor"]) >= 4.5


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("mark", MARKS)
def test_a_mark_has_contrast_on_both_backgrounds(mark, ground):
    assert contrast(MARKS[mark], GROUNDS[ground]) >= 3


@pytest.mark.parametrize("eye", EYES)
def test_what_is_forecast_and_what_happened_stay_apart(eye):
    assert distance(BLUE, ORANGE, EYES[eye]) > 40


@pytest.mark.parametrize("eye", EYES)
def test_all_marks_differ_from_each_other_and_from_the_backgrounds(eye):
    for one, other in combinations([*MARKS.values(), *GROUNDS.values()], 2):
        assert distance(one, other, EYES[eye]) > 10 * 2.3


@pytest.mark.parametrize("ground", GROUNDS)
def test_the_bands_differ_in_lightness(ground):
    steps = [linear(GROUNDS[ground])]
    for level in ("95", "80", "50"):  # each band lies on the wider ones
        steps.append((1 - BAND_OPACITY[level]) * steps[-1] + BAND_OPACITY[level] * linear(BLUE))
    lums = [float(TO_XYZ[1] @ s) + 0.05 for s in steps]
    assert all(max(a, b) / min(a, b) > 1.1 for a, b in zip(lums, lums[1:], strict=False))


DAYS = pd.to_datetime(["2026-07-01", "2026-09-01", "2026-12-01", "2027-03-01", "2027-05-01"])
QUANTILES = dict(zip(["p05", "p10", "p50", "p80", "p90"], DAYS, strict=True)) | {"p95": DAYS[-1]}


def ranges():
    return pd.DataFrame([{"target": "Hull", "finished": "", **QUANTILES}])


def drawn(theme):
    """Every chart with more than one series, from a row or two."""
    hours = {q: [9.0, 4.0] for q in ("p02", "p10", "p25", "p50", "p75", "p90", "p98")}
    two = pd.concat([ranges().assign(plan=plan) for plan in ("Alone", "With B")])
    weeks = {"monday": DAYS[:2], "next": DAYS[1:3], "hours": [3.0, 5.0]}
    coming = {"week_from": DAYS[2:4], "next": DAYS[3:5], "middle": DAYS[3:5], **hours}
    return {
        "finish_ranges": charts.finish_ranges(ranges(), DAYS[0], DAYS[-1], theme),
        "chance_by_day": charts.chance_by_day(
            pd.DataFrame({"day": DAYS[:2], "chance": [0.1, 0.9]}), DAYS[0], 0.1, theme
        ),
        "date_causes": charts.date_causes(
            pd.DataFrame({"cause": ["Pace", "Hours"], "days": [3, -2], "label": ["3", "2"]}), theme
        ),
        "hours_left": charts_hours.hours_left(
            pd.DataFrame({"day": DAYS[:2], "hours_left": [20.0, 9.0]}),
            pd.DataFrame({"day": DAYS[1:3], **hours}),
            pd.DataFrame({"day": DAYS[:1], "hours": [2.0]}),
            theme,
        ),
        "hours_by_week": charts_hours.hours_by_week(pd.DataFrame(weeks), pd.DataFrame(coming), theme),
        "learning_curve": charts_hours.learning_curve(
            pd.DataFrame({"piece": [1.0, 2.0], "value": [3.0, 2.0], "task": ["a", "b"]}),
            pd.DataFrame({"piece": [1.0, 2.0], "p10": [2.0, 1.0], "p50": [3.0, 2.0], "p90": [4.0, 3.0]}),
            "hours per piece",
            theme,
        ),
        "ratios_of_types": charts_hours.ratios_of_types(
            pd.DataFrame(
                {"type": ["fit", "drill"], "p10": [1.1, 0.7], "p50": [1.3, 0.8], "p90": [1.6, 0.9],
                 "label": ["1.3", "0.8"], "side": ["over", "under"]}
            ),
            theme,
        ),
        "two_plans": charts.two_plans(two, DAYS[-1], theme),
        "order_dates": charts.order_dates(
            pd.DataFrame([{"title": "Engine", "order_by": DAYS[0], **QUANTILES}]), theme
        ),
        "past_forecasts": charts.past_forecasts(
            pd.DataFrame([{"as_of": DAYS[0], "actual": DAYS[3], **QUANTILES}]), theme
        ),
    }  # fmt: skip


CHARTS = drawn(SCREEN)
BY_POSITION = {
    "hours_by_week": "the log's bars stand on zero and end where the ranges begin",
    "date_causes": "later is to the right of the line, earlier to the left, and the words say it",
}


def marks_by_colour(spec):
    """Colour -> what is drawn with it: the kind of mark, its shape, its steps."""
    found = {}
    for layer in spec["layer"]:
        mark = layer["mark"]
        colour = mark.get("stroke") or mark.get("color")
        if colour in (BLUE, ORANGE):
            kind = (
                mark["type"],
                mark.get("shape", ""),
                mark.get("interpolate", ""),
                str(mark.get("strokeDash")),
            )
            found.setdefault(colour, set()).add(kind)
    return found


@pytest.mark.parametrize("name", CHARTS)
def test_no_chart_parts_its_series_by_colour_alone(name):
    spec = CHARTS[name].to_dict()
    found = marks_by_colour(spec)
    if name in BY_POSITION:
        return
    assert not found.get(BLUE, set()) & found.get(ORANGE, set())
    for layer in spec["layer"]:
        by = layer["encoding"].get("color", {}).get("field")
        if by is not None and layer["mark"]["type"] == "point":
            assert layer["encoding"]["shape"]["field"] == by
        elif by is not None:
            assert {"yOffset", "y"} & set(layer["encoding"])


@pytest.mark.parametrize("name", CHARTS)
def test_every_axis_of_a_quantity_has_a_title_and_every_colour_is_of_the_palette(name):
    spec = CHARTS[name].to_dict()
    axes = [e for layer in spec["layer"] for c, e in layer["encoding"].items() if c in ("x", "y")]
    measured = [e for e in axes if e.get("type") in ("quantitative", "temporal")]
    assert any(e.get("title") for e in measured)
    used = set(json.dumps(spec).replace('"', " ").split()) & {
        c for c in json.dumps(spec).split('"') if c[:1] == "#"
    }
    assert used <= {BLUE, ORANGE, GREY}


def test_marks_on_paper_have_the_contrast_that_those_on_the_screen_have():
    for colour in (PAPER.blue, PAPER.orange, PAPER.grey):
        assert contrast(colour, PAPER.frame["background"].replace("white", "#ffffff")) >= 3


@pytest.mark.parametrize("eye", EYES)
def test_on_paper_too_what_is_forecast_and_what_happened_stay_apart(eye):
    assert distance(PAPER.blue, PAPER.orange, EYES[eye]) > 40


@pytest.mark.parametrize("name", CHARTS)
def test_a_chart_on_paper_differs_from_that_on_the_screen_in_its_theme_only(name):
    paper, screen = drawn(PAPER)[name].to_dict(), CHARTS[name].to_dict()
    assert [layer["mark"]["type"] for layer in paper["layer"]] == [m["mark"]["type"] for m in screen["layer"]]
    assert [list(layer["encoding"]) for layer in paper["layer"]] == [
        list(m["encoding"]) for m in screen["layer"]
    ]


def test_the_check_of_the_marks_can_fail():
    row = pd.DataFrame({"x": [1], "y": [1]})
    layers = [
        alt.Chart(row).mark_point(shape="circle", color=c).encode(x="x:Q", y="y:Q") for c in (BLUE, ORANGE)
    ]
    found = marks_by_colour(alt.layer(*layers).to_dict())
    assert found[BLUE] & found[ORANGE]
