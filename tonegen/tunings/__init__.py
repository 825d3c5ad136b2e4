"""Stored tunings that can be explained: each offset follows from strings and a rule."""
