"""A figure as an SVG element within the page: named, described, without a request."""

from __future__ import annotations

import re
from html import escape

from forecast.errors import UsageError
from forecast.present.figures import Figure

_OPENING = re.compile(r"<svg [^>]*>")
_SIZE = re.compile(r'width="([\d.]+)" height="([\d.]+)"')
_IDS = re.compile(r'(\bid="|url\(#|href="#)')
_ROLES = re.compile(r' (?:role|aria-roledescription|aria-label|aria-hidden|xmlns(?::\w+)?)="[^"]*"')


def missing_library(error: ModuleNotFoundError) -> UsageError:
    """The error for a library of the extra `report` that is not installed."""
    return UsageError(f"The report needs {error.name}: install it with `pip install 'benchdays[report]'`.")


def svg(figure: Figure) -> str:
    """The chart as an `<svg>` element with title and description; its ids begin with the figure's name.

    Raises
    ------
    UsageError when the library that draws it is not installed.
    """
    try:
        import vl_convert
    except ModuleNotFoundError as error:
        raise missing_library(error) from None
    drawn = str(vl_convert.vegalite_to_svg(figure.chart.to_dict()))
    opening = _OPENING.match(drawn)
    size = _SIZE.search(opening[0]) if opening else None
    if opening is None or size is None:
        raise ValueError(f"The chart library returned no SVG for {figure.name}.")
    name = figure.name
    # Two charts in one page must not share ids, and only the whole picture has a role and a label.
    inside = _IDS.sub(lambda m: f"{m[1]}{name}-", _ROLES.sub("", drawn[opening.end() :]))
    return (
        f'<svg viewBox="0 0 {size[1]} {size[2]}" width="{size[1]}" height="{size[2]}" role="img" '
        f'aria-labelledby="{name}-title {name}-desc">'
        f'<title id="{name}-title">{escape(figure.finding)}</title>'
        f'<desc id="{name}-desc">{escape(figure.description)}</desc>{inside}'
    )
