"""Colours and type of the pages, on a light and on a dark background."""

from __future__ import annotations

LIGHT_BACKGROUND = "#ffffff"
DARK_BACKGROUND = "#14181d"

THEME = {
    "theme.base": "light",
    "theme.font": "sans-serif",
    "theme.baseFontSize": 17,
    "theme.headingFontSizes": ["1.85rem", "1.35rem", "1.15rem"],
    "theme.linkUnderline": True,
    "theme.showWidgetBorder": True,
    "theme.light.primaryColor": "#0b5f86",
    "theme.light.backgroundColor": LIGHT_BACKGROUND,
    "theme.light.secondaryBackgroundColor": "#eef2f4",
    "theme.light.textColor": "#16202a",
    "theme.dark.primaryColor": "#5aaee0",
    "theme.dark.backgroundColor": DARK_BACKGROUND,
    "theme.dark.secondaryBackgroundColor": "#222931",
    "theme.dark.textColor": "#eef2f5",
    "theme.dark.linkColor": "#7cc4ea",
}
