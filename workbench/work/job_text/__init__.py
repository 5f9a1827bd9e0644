"""A job in words: what to do next, how sure a reading is, its wing, plain lines and JSON."""
