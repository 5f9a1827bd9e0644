"""SQL for each kind of row."""
