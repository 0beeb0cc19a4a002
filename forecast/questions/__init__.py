"""The questions builders ask, one module each."""
