"""Foreign files of every kind, read into sheets of cells."""
