"""After the ride: notes, rules of thumb, and a choice made the target."""
