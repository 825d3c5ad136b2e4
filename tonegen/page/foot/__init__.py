"""Pedals and levers of the page, moved by MIDI controllers without a set."""
