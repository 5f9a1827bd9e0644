"""The bench: the full-screen app. Screens compute nothing; they show and pass on."""
