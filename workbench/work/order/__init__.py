"""The work order and its answers, and the book's parts as kernel values."""
