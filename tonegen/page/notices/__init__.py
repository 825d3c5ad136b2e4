"""What could not be read, and what the player decides about it."""
