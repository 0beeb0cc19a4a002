"""Whether any file or interruption can lose a row."""
