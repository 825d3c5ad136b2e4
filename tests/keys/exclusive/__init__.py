"""A MIDI system in which one program at a time has a port, in place of python-rtmidi.

So is Windows' (midiOutOpen refuses a port that is in use, MMSYSERR_ALLOCATED; from memory).
"""
