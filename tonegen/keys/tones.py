"""Tones that follow the desk: known by name, glided with their phases kept, never a click."""

from collections.abc import Mapping

from tonegen.synthesis.player import RAMP_SECONDS, Player
from tonegen.synthesis.timbre import PURE, Timbre, Tone


class SpeakerTones:
    """A player's tones by name."""

    def __init__(self, player: Player, timbre: Timbre = PURE) -> None:
        """Silent until `play`."""
        self._player = player
        self._timbre = timbre

    def play(self, hz: Mapping[str, float]) -> None:
        """Sound these, in place of those before; one whose name sounds already glides there."""
        self._player.set([Tone(one, self._timbre, name=name) for name, one in hz.items()])

    def glide(self, hz: Mapping[str, float]) -> None:
        """Bring the tones that sound to these frequencies, phases kept."""
        self._player.glide(hz, RAMP_SECONDS)

    def stop(self) -> None:
        """Fade out."""
        self._player.stop()
