"""Colours and type that hold on a light and on a dark ground, and for eyes that do not part red and green.

Every mark colour has at least 3:1 against both grounds (WCAG 2.2, 1.4.11); blue and orange stay apart under
all three kinds of colour blindness. No chart says anything by colour alone.
"""

from __future__ import annotations

LIGHT_GROUND = "#ffffff"
DARK_GROUND = "#14181d"

BLUE = "#2f80c2"  # what the forecast says
ORANGE = "#c4661a"  # what happened, or what to look at
GREY = "#7d8794"  # what is over, and lines to read by

BAND_OPACITY = {"95": 0.22, "80": 0.34, "50": 0.6}

THEME = {
    "theme.base": "light",
    "theme.font": "sans-serif",
    "theme.baseFontSize": 17,
    "theme.headingFontSizes": ["1.85rem", "1.35rem", "1.15rem"],
    "theme.linkUnderline": True,
    "theme.showWidgetBorder": True,
    "theme.light.primaryColor": "#0b5f86",
    "theme.light.backgroundColor": LIGHT_GROUND,
    "theme.light.secondaryBackgroundColor": "#eef2f4",
    "theme.light.textColor": "#16202a",
    "theme.dark.primaryColor": "#5aaee0",
    "theme.dark.backgroundColor": DARK_GROUND,
    "theme.dark.secondaryBackgroundColor": "#222931",
    "theme.dark.textColor": "#eef2f5",
    "theme.dark.linkColor": "#7cc4ea",
}
