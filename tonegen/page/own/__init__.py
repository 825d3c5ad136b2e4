"""The part of the page where a player makes presets of his own by touch."""
