"""The book shared with other benches: rounds of sending and taking, by a hub or a folder."""
