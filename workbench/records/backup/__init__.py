"""Opening and checking a book, copies of it, and one put back."""
