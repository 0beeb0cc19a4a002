"""The build folder on disk: its files read and checked, and changed without losing a row."""
