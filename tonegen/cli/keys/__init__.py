"""tonegen keys: keyboards and samplers brought to the temperament."""

from collections.abc import Mapping
from typing import Final

from tonegen.cli import commands

# The same sentence opens each command's own help.
SUMMARIES: Final[Mapping[str, str]] = {
    "plan": "Show what each key will get, before anything is sent.",
    "send": "Tune a receiver, keep it in tune, and put it back at the end.",
    "through": "Retune notes as you play them.",
    "file": "Retune a Standard MIDI File; tempo, tracks, programs and lyrics stay.",
    "compare": "Compare what tunings of the keys leave of a song's intervals.",
    "reset": "Put a receiver back: notes off, bends to the centre, equal temperament.",
    "panic": "End every note on a MIDI port: notes and sound off, pedals up, on all channels.",
    "ports": "List the MIDI ports.",
}


@commands(__name__, SUMMARIES, example="keys plan")
def command() -> None:
    """Bring keyboards and samplers to the temperament, by MIDI and OSC."""
