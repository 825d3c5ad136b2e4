"""Beats that a listener counts or taps along with, and what they say."""
