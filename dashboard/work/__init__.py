"""What the pages ask for, computed in the background and cached."""
