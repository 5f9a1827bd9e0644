"""From places on a real blade to its outline: contours, caliper distances, naming the edges."""
