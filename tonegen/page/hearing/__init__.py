"""Strings heard as they are played, at the page."""
