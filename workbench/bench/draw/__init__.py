"""Text, letters, canvas, plots and themes."""
