"""Readings of a meter, and the cabinet drop that they tell."""
