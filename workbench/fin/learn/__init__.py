"""The bench that learns: what a turn of each stud really moves, and what a round tells of the next.

Readings of all rounds of a job are filtered together, and what they tell of leads, backlash and the
blade's edges is carried from job to job by replaying the kept rounds; nothing learnt is stored as
truth. Pure like the rest of ``fin``.
"""
