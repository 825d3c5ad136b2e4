"""The sound that all pages share: one player at a time, and the outlet that draws from it."""
