"""Forms that write to the build folder."""
