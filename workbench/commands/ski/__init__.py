"""Commands of a ski, step by step."""
