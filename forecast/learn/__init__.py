"""What the log teaches: hours per task, hours at the bench, arrivals of kits."""
