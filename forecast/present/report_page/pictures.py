"""A chart as a vector picture that stands in the page: named, described, without a request."""

from __future__ import annotations

import re
from html import escape
from typing import TYPE_CHECKING

from forecast.errors import UsageError

if TYPE_CHECKING:
    import altair as alt

_NEEDED = "The report needs {name}: install it with `pip install 'benchdays[report]'`."
_OPENING = re.compile(r"<svg [^>]*>")
_SIZE = re.compile(r'width="([\d.]+)" height="([\d.]+)"')
_IDS = re.compile(r'(\bid="|url\(#|href="#)')
_ROLES = re.compile(r' (?:role|aria-roledescription|aria-label|aria-hidden|xmlns(?::\w+)?)="[^"]*"')


def needed(error: ModuleNotFoundError) -> UsageError:
    """What to say when a library of the extra `report` is not installed."""
    return UsageError(_NEEDED.format(name=error.name))


def picture(chart: alt.Chart | alt.LayerChart, *, name: str, title: str, description: str) -> str:
    """The chart as an `<svg>` element with a title and a description for those who cannot see it.

    Parameters
    ----------
    chart : what to draw
    name : of the picture in its page: ids begin with it, so that pictures do not mix theirs up
    title, description : what it shows, in words
    """
    try:
        import vl_convert
    except ModuleNotFoundError as error:
        raise needed(error) from None
    drawn = str(vl_convert.vegalite_to_svg(chart.to_dict()))
    opening = _OPENING.match(drawn)
    size = _SIZE.search(opening[0]) if opening else None
    if opening is None or size is None:
        raise ValueError(f"The chart library gave no picture of {name}.")
    inside = _IDS.sub(lambda m: f"{m[1]}{name}-", _ROLES.sub("", drawn[opening.end() :]))
    return (
        f'<svg viewBox="0 0 {size[1]} {size[2]}" width="{size[1]}" height="{size[2]}" role="img" '
        f'aria-labelledby="{name}-title {name}-desc">'
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(description)}</desc>'
        f"{inside}"
    )
