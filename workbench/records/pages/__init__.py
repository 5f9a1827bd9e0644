"""What a book offers, by subject."""
