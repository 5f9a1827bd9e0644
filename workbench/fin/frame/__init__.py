"""Points, poses and the small linear algebra of three unknowns."""
