"""The part of the page that is played: what hands and feet ask for, and the picture of it all."""

from collections.abc import Iterable
from dataclasses import replace as replaced
from importlib.metadata import version
from typing import ClassVar

from msgspec import Struct

from tonegen.errors import BadValue
from tonegen.page.asked import Asked
from tonegen.page.part import Act, Change, Host, Part, Standing, Voice, tone_name
from tonegen.page.play import asks, moves
from tonegen.page.play.view import Chart, Choices, View, chart_of, choices, view
from tonegen.presets.own import save_temperament
from tonegen.sounding import places, tones_to_play
from tonegen.synthesis.player import HEARING_CAUTION
from tonegen.synthesis.timbre import beating_only
from tonegen.temperament import Context, OwnTemperament, is_asked


class PlayPart(Part):
    """Chart, strings, pairs, grips, bar and songs."""

    changes: ClassVar[dict[type[Asked], Change]] = {
        asks.Engage: moves.engage,
        asks.Release: moves.release,
        asks.Stand: moves.stand,
        asks.Strings: moves.strings,
        asks.TakeGrip: moves.grip,
        asks.Bar: moves.bar,
        asks.GoToSong: moves.song,
        asks.Only: moves.only,
        asks.Offset: moves.offset,
        asks.Pure: moves.pure,
        asks.Equal: moves.equal,
        asks.ToTarget: moves.target,
        asks.Targets: moves.targets,
        asks.SaveGrip: moves.save_grip,
        asks.ForgetGrip: moves.forget_grip,
        asks.SaveSong: moves.save_song,
        asks.ForgetSong: moves.forget_song,
        asks.Choose: moves.choose,
    }

    def __init__(self, host: Host) -> None:
        """Nothing has moved yet."""
        super().__init__(host)
        self._revision = 0
        self._shown: Standing | None = None
        self._chart: Chart | None = None

    def shown(self) -> Iterable[Struct]:
        """What can be chosen, and everything of the instrument."""
        return (what_can_be_chosen(), self._view(self.host.at))

    def follow(self, at: Standing) -> None:
        """Draw it again; where only the sound moved elsewhere it is the same revision."""
        self._revision += at is not self._shown
        self._shown = at
        self.host.post(self._view(at))

    def voice(self, at: Standing) -> Voice:
        """The grip, or only what beats of a pair of it; each tone goes by its string."""
        sounding, playing = at.sounding, at.playing
        if not sounding.tones:
            return Voice()
        tones = tones_to_play(sounding, at.rig.timbre, split=playing.split)
        named = zip(tones, sounding.tones, strict=True)
        voice = Voice(tuple(replaced(tone, name=tone_name(source)) for tone, source in named), sounding)
        if playing.only is None:
            return voice
        alone = [
            (*places(sounding, pair.interval), pair.interval.ratio)
            for pair in voice.pairs()
            if {pair.low, pair.high} == set(playing.only)
        ]
        return Voice(beating_only(voice.tones, alone), sounding) if alone else voice

    def _view(self, at: Standing) -> View:
        if self._chart is None or self._chart.rig is not at.rig:
            self._chart = chart_of(at.rig)
        return view(
            at, self._chart, self.host.stage.words, self._revision,
            undo=self.host.undo_words, redo=self.host.redo_words,
        )  # fmt: skip

    def _keep(self, asked: asks.Keep) -> None:
        """Write the offsets down as the player's own temperament, which becomes the target."""
        at, name = self.host.at, asked.name.strip()
        for fault in at.faults:
            if fault.part in ("instrument", "temperament"):
                raise BadValue(f"offsets can be saved once this is fixed: {fault.error}")
        rig = at.rig
        points = dict.fromkeys([*rig.instrument.tuning_points(), *rig.moved])
        offsets = {point: rig.temperament.offset_cents(rig.instrument, point) for point in points}
        made_with = Context(rig.drop.name, rig.reference_hz, at.setting.scene or None)
        left = frozenset(point for point in points if not is_asked(rig.temperament, point))
        save_temperament(OwnTemperament(name, rig.instrument.name, offsets, "", made_with, left))
        self.host.show_presets()
        said = f"Saved as {name}. In use."
        kept = at.sets(f"saved as {name} (its file stays)", said=said, temperament=name, root=None, moved=())
        self.host.accept(kept, presets_changed=True)

    acts: ClassVar[dict[type[Asked], Act]] = {asks.Keep: _keep}


def what_can_be_chosen() -> Choices:
    """The presets there are."""
    return choices(HEARING_CAUTION, version("tonegen"))
