"""Tempering from the page: grips and weights, what is held, and the offer that comes of it."""
