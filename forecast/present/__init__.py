"""Answers as sentences, tables, charts, one report page and a calendar."""
