"""A ski on the bench: its state, stages, view and every act on it."""
