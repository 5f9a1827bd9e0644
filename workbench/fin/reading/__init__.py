"""What a reading method sees of a blade at a pose."""
