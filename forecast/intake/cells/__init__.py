"""What one foreign cell means: a date, a duration, people, a label, a task type."""
