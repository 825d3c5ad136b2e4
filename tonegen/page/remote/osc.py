"""OSC in: a foot controller or another program turns the knobs of the rig that the pages share."""

import asyncio
from collections.abc import Callable
from typing import Any, Final, TypeVar

from msgspec import Struct

from tonegen.errors import BadValue, NoSuchDevice
from tonegen.keys.osc_port import LOOPBACK, OscInput
from tonegen.page.asked import Asked
from tonegen.page.keys.asks import Panic
from tonegen.page.part import Host, Standing
from tonegen.page.play import asks
from tonegen.page.sound.asks import TurnSound
from tonegen.pitch import parse_pitch_class, pitch_class_name
from tonegen.setup.moves import listed_strings
from tonegen.setup.setting import song_now

Result = TypeVar("Result")

_TAKES: Final = "/tonegen/engage, release, fret, song, temperament, play, stop, panic and state"


class RemoteView(Struct, tag="remote", frozen=True):
    """The port that OSC is taken in at, None while it is not; `words` says it for a person."""

    port: int | None
    words: str


class Remote:
    """The controller that OSC drives. It is called by the thread that listens, and acts in the event loop."""

    def __init__(self, loop: asyncio.AbstractEventLoop, engine: Host) -> None:
        """Nothing is called yet."""
        self._loop = loop
        self._engine = engine

    def _in_the_loop(self, call: Callable[[], Result]) -> Result:
        async def run() -> Result:
            return call()

        return asyncio.run_coroutine_threadsafe(run(), self._loop).result()

    def _do(self, *asked: Asked) -> None:
        def do() -> None:
            for one in asked:
                self._engine.ask(one)

        self._in_the_loop(do)

    def engage(self, change: str, travel: float) -> None:
        """Engage a pedal or lever by a travel from 0 (at rest) to 1."""
        self._do(asks.Engage(change, travel))

    def fret(self, fret: float) -> None:
        """Put the bar to a fret."""
        self._do(asks.Bar(fret))

    def temperament(self, name: str, root: str | None) -> None:
        """Choose a temperament by its name, and what it is built on: else on the instrument's own root."""
        self._do(asks.Choose(temperament=name, root=parse_pitch_class(root) if root else -1))

    def play(self, tones: tuple[str, ...]) -> None:
        """Take a grip by its name, or strings as the pedals stand, and let it sound."""
        if len(tones) != 1:
            raise BadValue("the page plays one grip; give its name, or strings such as 3,4,5")
        strings = listed_strings(tones[0])
        self._do(asks.Strings(strings) if strings else asks.TakeGrip(tones[0]), TurnSound(True))

    def stop(self) -> None:
        """End the sound."""
        self._do(TurnSound(False))

    def panic(self) -> None:
        """End the sound, and all notes at the receiver."""
        self._do(TurnSound(False), Panic())

    def song(self, name: str) -> None:
        """Bring the bar to the key of a song of the set list."""
        self._do(asks.GoToSong(name))

    def send_again(self) -> None:
        """The page sends the tuning again by itself when the receiver is back. Raises BadValue."""
        raise BadValue("the page tunes a receiver that comes back by itself; or put it back, and send again")

    def state(self) -> dict[str, Any]:
        """What is set now, in the words of the command line's answers."""
        return self._in_the_loop(lambda: _state_of(self._engine.at))


def _state_of(standing: Standing) -> dict[str, Any]:
    rig, playing, two_tones = standing.rig, standing.playing, standing.setting.two_tones
    if playing.two_tones:
        heard = [two_tones.low, two_tones.high]
    else:
        heard = [",".join(map(str, playing.strings))] if playing.strings else []
    root = getattr(rig.targets, "root", None)
    return {
        "instrument": rig.instrument.name,
        "temperament": rig.temperament.name,
        "root": None if root is None else pitch_class_name(root),
        "fret": playing.fret,
        "travels": playing.travels,
        "song": song_now(rig.instrument, standing.setting.songs, playing) or None,
        "playing": heard if playing.sounding else [],
        "reference_hz": rig.reference_hz,
    }


class RemoteSwitch:
    """Whether OSC is taken in, and at which port of this machine; off at the start.

    show : takes the view whenever it changed; complain : a line for a person. Both in the event loop.
    """

    def __init__(
        self, remote: Remote, show: Callable[[RemoteView], None], complain: Callable[[str], None]
    ) -> None:
        """Nothing listens."""
        self._remote = remote
        self._show = show
        self._complain = complain
        self._input: OscInput | None = None
        self._turning = asyncio.Lock()

    def view(self) -> RemoteView:
        """What pages show."""
        if self._input is None:
            return RemoteView(None, "")
        words = f"Receiving OSC at {LOOPBACK}:{self._input.port}: {_TAKES}. Every packet is answered."
        return RemoteView(self._input.port, words)

    async def osc_in(self, port: int | None) -> None:
        """Listen at a port in place of the one before, which stays where that cannot be; None for nowhere."""
        async with self._turning:
            before = self._input
            if before is None or port != before.port:
                try:
                    self._input = OscInput(self._remote, port=port) if port is not None else None
                except NoSuchDevice as error:
                    self._complain(str(error))
                else:
                    if before is not None:
                        await asyncio.to_thread(before.close)  # its thread may be waiting for this loop
            self._show(self.view())
