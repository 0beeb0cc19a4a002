"""Altair charts and how they are shown."""
