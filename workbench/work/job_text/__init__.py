"""A job in words: what to do next, how to hold the caliper, plain lines and JSON."""
