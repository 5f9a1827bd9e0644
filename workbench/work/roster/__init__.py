"""What the shop owns and the day's queue: parts, calipers, settings, checklists."""
