"""The part of the page that trains ears. While it asks, nothing else sounds."""

from collections.abc import Iterable
from typing import ClassVar, Final

from msgspec import Struct
from msgspec.structs import replace

from tonegen.ear.history import FILE_NAME
from tonegen.ear.partner import RecordingNote
from tonegen.errors import BadValue
from tonegen.page.asked import Asked
from tonegen.page.ears import asks
from tonegen.page.ears.booth import AboutEars, EarsBooth
from tonegen.page.part import Act, Host, Part
from tonegen.page.play.asks import TakeGrip
from tonegen.page.play.moves import grip as with_grip
from tonegen.page.sound.asks import Mute, Steady
from tonegen.page.sound.part import mute
from tonegen.page.stage.stage import SourceAt
from tonegen.presets import own_folder
from tonegen.sounding import SoundingTone

# Who asks for these wants to hear them: they end a mute, as the sound's own button does.
_HEARD_AT_ONCE: Final = (
    asks.Train,
    asks.GoOn,
    asks.Practise,
    asks.Hear,
    asks.Demonstrate,
    asks.MatchRecording,
)


class EarsPart(Part):
    """Trials and lessons, one person at a time."""

    def __init__(self, host: Host) -> None:
        """No history is opened yet."""
        super().__init__(host)
        self._ears: EarsBooth | None = None

    def shown(self) -> Iterable[Struct]:
        """What was shown last."""
        return () if self._ears is None else tuple(self._ears.shown.values())

    @property
    def asks_alone(self) -> bool:
        """Whether a trial or a lesson is open."""
        return self._ears is not None and self._ears.asking

    def hush(self) -> None:
        """Fall silent, and stay at the question."""
        if self._ears is not None:
            self._ears.hush()

    def leave_alone(self) -> None:
        """Trials that nobody sees stop, and wait."""
        if self.asks_alone:
            self._do(asks.Pause())

    async def answers_as_csv(self) -> str:
        """Every answer of the person at the trials. Raises a TonegenError when nobody is there."""
        if self._ears is None:
            raise BadValue("no answers yet; open Ears first")
        return await self._ears.as_csv()

    def take_note(self, note: RecordingNote) -> None:
        """A partner's note, which is matched next."""
        self._booth().note = note

    async def close(self) -> None:
        """Close the history."""
        if self._ears is not None:
            await self._ears.close()

    def _do(self, asked: AboutEars) -> None:
        host, ears = self.host, self._booth()
        grip = self._grip(asked.grip) if isinstance(asked, asks.Train) else ()
        if isinstance(asked, _HEARD_AT_ONCE) and host.at.playing.muted:
            host.accept(mute(Mute(False), host.at))
        ears.ask(asked, grip, host.stage.player.sample_rate, host.at.playing.muted)

    def _booth(self) -> EarsBooth:
        if self._ears is None:
            host = self.host
            self._ears = EarsBooth(own_folder() / FILE_NAME, host.post, host.complain, self._play)
        return self._ears

    def _play(self, source: SourceAt | None) -> None:
        """In the place of the steady tone, if that still sounds."""
        self.host.ask(Steady(False))
        self.host.sound_anew()
        self.host.stage.play_in_booth(source)

    def _grip(self, name: str | None) -> tuple[SoundingTone, ...]:
        """The strings of a grip at the open strings, as they are tempered and drop; "" is the one set now."""
        if name is None:
            return ()
        at = self.host.at
        playing = with_grip(TakeGrip(name), at).playing if name else at.playing
        tones = at.rig.sounding(replace(playing, fret=0.0)).tones
        return tuple(tone for tone in tones if tone.string is not None)

    acts: ClassVar[dict[type[Asked], Act]] = dict.fromkeys(asks.EVERY, _do)
