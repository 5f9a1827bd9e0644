"""From the pose now to the stud turns: goals, rounding, uncertainty, remarks."""
