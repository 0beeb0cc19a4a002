"""How long the program takes, and in how much memory."""
