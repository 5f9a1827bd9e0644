"""A blade's outline from a scan, a photo, a drawing or caliper distances."""
