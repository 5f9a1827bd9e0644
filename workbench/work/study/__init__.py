"""What repeats teach: repeatability studies, offsets between two methods, numbers restated."""
