"""Words, safe text and local time: what every sentence is made of."""
