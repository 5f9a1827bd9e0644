"""The fin: blade, base, reading methods, studs, pose and guidance.

Pure: no clock, no disk, no screen. Lengths are floats in mm, angles in radians. The ski frame has
its origin at the tail end on the base, x forward along the base and y out of the base; the blade
frame is (u, v) with u forward and v outward.
"""
