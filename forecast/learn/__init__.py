"""Models fitted to the log: hours per task, hours at the bench, arrivals of kits."""
