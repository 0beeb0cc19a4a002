"""How figures are shown, and the colours of the pages."""
