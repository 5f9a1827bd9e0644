"""The wing: its angle, the base's curve, and what each hold reads."""
