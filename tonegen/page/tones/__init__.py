"""Two free tones, heard in place of the grip."""
