"""Rows on their way out to another book, and in."""
