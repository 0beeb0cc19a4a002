"""How well the program forecasts builds whose truth is known."""
