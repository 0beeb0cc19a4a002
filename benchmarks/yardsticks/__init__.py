"""What the program is measured against."""
