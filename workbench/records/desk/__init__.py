"""The one thread that owns the connection, and the way to it."""
