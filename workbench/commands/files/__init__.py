"""Commands on files: exchange and backup."""
