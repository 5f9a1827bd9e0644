"""Files from and for people: read strictly, written whole or not at all."""
