"""Studies of skill and speed that take longer than a test may."""
