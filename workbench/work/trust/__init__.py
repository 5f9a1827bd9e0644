"""How far a reading can be trusted: budgets, caliper figures, plausibility, significance."""
