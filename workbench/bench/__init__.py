"""The bench: the full-screen app. Screens compute nothing; they show views and pass on what was done."""
