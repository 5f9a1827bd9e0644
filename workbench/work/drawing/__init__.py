"""The side view as a scene of lines and marks, for pages and plain text."""
