"""The book of a shop: what it owns, the day's queue, and everything that was measured and done."""
