"""Tones that OSC asks for, on the default sound device."""

import threading
from collections.abc import Mapping
from contextlib import ExitStack
from typing import TYPE_CHECKING

import click

from tonegen import presets
from tonegen.errors import NoSuchDevice

if TYPE_CHECKING:
    from tonegen.keys.desk import Desk
    from tonegen.keys.tones import SpeakerTones


def driven_by_osc(stack: ExitStack, desk: "Desk", osc_in: str) -> str:
    """Let OSC turn the desk's knobs and play tones; where it is heard, its port a real one."""
    from tonegen.keys.osc_port import OscInput, parse_address

    host, port = parse_address(osc_in)
    desk.sounder = speakers = _Speakers()
    stack.callback(speakers.close)
    source = OscInput(desk, host, port)
    stack.callback(source.close)
    return f"{host}:{source.port}"


class _Speakers:
    """Tones on the default sound device, which is opened when the first is asked for, and then stays open."""

    def __init__(self) -> None:
        self._tones: SpeakerTones | None = None
        self._thread: threading.Thread | None = None
        self._end = threading.Event()

    def play(self, hz: Mapping[str, float]) -> None:
        if self._tones is None or self._thread is None or not self._thread.is_alive():
            self._tones = self._opened()
        self._tones.play(hz)

    def glide(self, hz: Mapping[str, float]) -> None:
        if self._tones is not None:
            self._tones.glide(hz)

    def stop(self) -> None:
        if self._tones is not None:
            self._tones.stop()

    def close(self) -> None:
        self._end.set()
        if self._thread is not None:
            self._thread.join(5.0)

    def _opened(self) -> "SpeakerTones":
        from tonegen.keys.tones import SpeakerTones
        from tonegen.sound.device import choose, output_devices, play
        from tonegen.synthesis.player import HEARING_CAUTION, Player

        device = choose(None, output_devices())
        player = Player(device.sample_rate, channels=min(device.channels, 2))
        click.echo(HEARING_CAUTION, err=True)

        def sound() -> None:
            try:
                play(player, device, stop=self._end)
            except NoSuchDevice as error:
                click.echo(f"tonegen: {error}", err=True)

        self._thread = threading.Thread(target=sound, name="tones", daemon=True)
        self._thread.start()
        return SpeakerTones(player, presets.timbre("harmonic"))
