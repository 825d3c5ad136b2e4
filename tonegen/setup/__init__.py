"""What is set: as it was asked for, loaded and ready to sound, and the moves on it."""
