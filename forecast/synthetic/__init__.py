"""Invented builds with a known truth."""
