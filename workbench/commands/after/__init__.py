"""Commands after the ride: notes, history, cards."""
