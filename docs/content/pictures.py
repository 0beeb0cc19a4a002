"""A chart as an inline SVG with a title and a description for those who cannot see it."""

from __future__ import annotations

import re
from html import escape

import altair as alt

_OPENING = re.compile(r'<svg [^>]*?width="([\d.]+)" height="([\d.]+)"[^>]*>')
# Ids must be unique in a page that shows several pictures.
_IDS = re.compile(r'(\bid="|url\(#|href="#)')
# One name and one description per picture, not one per mark: a screen reader would read every tick.
_ROLES = re.compile(r' (?:role|aria-roledescription|aria-label|aria-hidden)="[^"]*"')


def svg_of(chart: alt.Chart | alt.LayerChart | alt.FacetChart, *, name: str, title: str, text: str) -> str:
    """The `<svg>` element of a chart.

    Parameters
    ----------
    chart : what to draw
    name : of the picture within its page; its ids begin with it
    title, text : what the picture shows, in words
    """
    import vl_convert

    drawn = vl_convert.vegalite_to_svg(chart.to_dict())
    opening = _OPENING.search(drawn)
    if opening is None:
        raise ValueError(f"No size in the drawing of {name}.")
    inside = _IDS.sub(lambda m: f"{m[1]}{name}-", _ROLES.sub("", drawn[opening.end() :]))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {opening[1]} {opening[2]}" '
        f'width="{opening[1]}" role="img" aria-labelledby="{name}-title {name}-text">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-text">{escape(text)}</desc>{inside}'
    )
