"""Invented builds with a known truth, for the studies, the tests and sample_logs."""
