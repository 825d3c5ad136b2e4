"""Trials and lessons on the page."""
