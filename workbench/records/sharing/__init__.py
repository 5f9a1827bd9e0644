"""The book's rows shared with other benches: what is to go, how far was taken, by hub or folder."""
