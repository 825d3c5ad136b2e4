"""Keyboards and samplers brought to the steel from the page."""
