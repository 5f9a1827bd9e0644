"""What the bench and the command line both do: orders, turns, jobs from received to signed off.

Knows no screen and no SQL.
"""
