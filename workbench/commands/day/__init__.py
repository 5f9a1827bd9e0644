"""Commands of the day and its skis."""
