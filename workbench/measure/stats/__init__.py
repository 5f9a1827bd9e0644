"""Statistics of repeated measurement: regression, adjustment, studies, agreement."""
