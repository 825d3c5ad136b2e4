"""Ear training: trials whose only cue is the beat, thresholds measured honestly, every answer kept.

Conventions: a *level* is the size of the mistuning that is asked about, in cents, always above zero. A
*threshold* is the level that a listener gets right with a stated probability. Random numbers come from
generators that are passed in or seeded by what is stored, never from a hidden one.
"""
