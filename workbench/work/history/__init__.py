"""A ski's history: timeline, settings compared, numbers over time, strikes, rides."""
