"""The demo shop: invented skis, people and a season of history."""
