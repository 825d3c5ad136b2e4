"""Reference tones and beat rates, and the tunings that bring keyboards to an instrument.

The arithmetic is in `pitch`, `interval`, `instrument`, `temperament`; the sound is in `timbre` and `bank`.
"""
