"""Files and records: a build folder is read and checked, and written without losing a row."""
