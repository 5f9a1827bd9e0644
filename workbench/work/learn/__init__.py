"""What the kept rounds of a block and blade teach: from the book's facts to the next act."""
