"""The part of the page that has the library of tunings."""

from collections.abc import Iterable
from dataclasses import replace
from typing import ClassVar

from msgspec import Struct
from msgspec.structs import replace as with_fields

from tonegen.page.asked import Asked
from tonegen.page.part import Act, Change, Done, Host, Part, Standing, Voice
from tonegen.page.play.asks import Choose
from tonegen.page.play.moves import choose
from tonegen.page.setting import Playing
from tonegen.page.tunings import asks
from tonegen.page.tunings.library import TuningsView, drawn, rows_for, tones_of, tuning_called


def take(asked: asks.TakeTuning, at: Standing) -> Done:
    """Make it the instrument; every string of it is the grip."""
    tuning = tuning_called(asked.name)
    done = choose(Choose(instrument=asked.name, temperament=asked.name), at)
    strings = tuple(range(1, len(tuning.notes) + 1))
    playing = with_fields(done.playing, strings=strings, only=None)
    return replace(done, playing=playing, words=f"tuning {tuning.title}")


class TuningsPart(Part):
    """What was found, what is shown, and what of it is heard until anything else is played."""

    changes: ClassVar[dict[type[Asked], Change]] = {asks.TakeTuning: take}

    def __init__(self, host: Host) -> None:
        """The library is not loaded before a page asks."""
        super().__init__(host)
        self._view = TuningsView()
        self._heard: tuple[str, int, Playing] | None = None

    def shown(self) -> Iterable[Struct]:
        """What was found last."""
        return (self._view,)

    def voice(self, at: Standing) -> Voice | None:
        """The tuning that is heard, as long as nothing else was played since."""
        if self._heard is None:
            return None
        name, place, playing = self._heard
        if at.playing != playing:
            return None
        tones = tones_of(tuning_called(name), place, at.rig)
        return Voice(tuple(replace(tone, name=f"tuning-{tone.name}") for tone in tones))

    def find(self, asked: asks.FindTunings) -> None:
        """Show what has these words, or these strings."""
        self._show(with_fields(self._view, text=asked.text, rows=rows_for(asked.text)))

    def open(self, asked: asks.OpenTuning) -> None:
        """Show one tuning, or none."""
        self._show(with_fields(self._view, shown=drawn(tuning_called(asked.name)) if asked.name else None))

    def hear(self, asked: asks.HearTuning) -> None:
        """Hear a note of what is shown, or all of it."""
        if self._view.shown is None:
            return
        name, at = self._view.shown.name, self.host.at
        tones_of(tuning_called(name), asked.place, at.rig)  # says so where there is no such note
        done = at.plays(sounding=True, muted=False)
        self._heard = (name, asked.place, done.playing)
        self.host.accept(done)
        self.host.sound_anew()

    def _show(self, view: TuningsView) -> None:
        self._view = view
        self.host.post(view)

    acts: ClassVar[dict[type[Asked], Act]] = {
        asks.FindTunings: find,
        asks.OpenTuning: open,
        asks.HearTuning: hear,
    }
