"""Two temperaments side by side."""
