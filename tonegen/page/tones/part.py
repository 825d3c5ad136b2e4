"""The part of the page that has two free tones: any two, whatever the instrument."""

from collections.abc import Iterable
from typing import ClassVar

from msgspec import Struct

from tonegen.page.asked import Asked
from tonegen.page.part import Change, Done, Host, Part, Standing, Voice
from tonegen.page.tones import asks
from tonegen.page.tones.two_tones import (
    TwoTonesView,
    refuse_silence,
    sounding_of,
    tones_of,
    tuned,
    view_of,
    with_tones,
)


def write(asked: asks.WriteTones, at: Standing) -> Done:
    """Write the two tones, and what they stand for."""
    setting = with_tones(at.setting, at.rig, asked)
    written = setting.two_tones
    return _heard(Done(setting, at.playing, f"two tones {written.low} and {written.high}"), at)


def tune(asked: asks.TuneTones, at: Standing) -> Done:
    """Move the upper one to pure, or to whole semitones."""
    return _heard(Done(tuned(at.setting, at.rig, asked.to), at.playing, f"two tones {asked.to}"), at)


def hear(asked: asks.HearTones, at: Standing) -> Done:
    """Hear the two at once; without them the sound goes on with the grip."""
    if not asked.on:
        return at.plays(two_tones=False, two_tones_only=False)
    return _heard(at.plays(two_tones=True, two_tones_only=asked.only, sounding=True, muted=False), at)


def _heard(done: Done, at: Standing) -> Done:
    if done.playing.two_tones:
        refuse_silence(done.setting, at.rig)
    return done


class TonesPart(Part):
    """The two tones as written, and as they sound."""

    changes: ClassVar[dict[type[Asked], Change]] = {
        asks.WriteTones: write,
        asks.TuneTones: tune,
        asks.HearTones: hear,
    }

    def __init__(self, host: Host) -> None:
        """As they were left."""
        super().__init__(host)
        self._shown: TwoTonesView | None = None

    def shown(self) -> Iterable[Struct]:
        """The two as they are."""
        return (self._view(self.host.at),)

    def follow(self, at: Standing) -> None:
        """Show them where they changed."""
        before, self._shown = self._shown, self._view(at)
        if self._shown != before:
            self.host.post(self._shown)

    def voice(self, at: Standing) -> Voice | None:
        """The two, while they are heard."""
        if not at.playing.two_tones:
            return None
        return Voice(tones_of(at.setting, at.rig, at.playing), sounding_of(at.setting, at.rig))

    @staticmethod
    def _view(at: Standing) -> TwoTonesView:
        return view_of(at.setting, at.rig, at.playing)
