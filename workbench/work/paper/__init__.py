"""Cards and day sheets as text, HTML and PDF."""
