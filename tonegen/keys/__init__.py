"""Keyboards, samplers and synthesizers brought to the instrument's temperament by MIDI and OSC.

`scale` says what every key should be, `plan` what a receiver is sent for it and how that is taken back;
`messages`, `osc` and `stream` are the bytes; `rotation` retunes notes as they pass, live or in a `files`,
from the `players` that come in to the `channels` that go out;
`ports` and `guard` are the way out.
"""
