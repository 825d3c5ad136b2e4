"""Sustained tones: their partials, rendered exactly, steady or on the move, and played in blocks."""
