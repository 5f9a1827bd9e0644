"""The file itself: connection, schema, rows, ids and what SQLite can keep."""
