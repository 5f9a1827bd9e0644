"""Files between benches: export, import, CSV, backup."""
