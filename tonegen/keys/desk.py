"""The desk: what is set on the rig of the keyboards, and the scale and the plans that follow.

A foot controller by OSC and pedals by MIDI turn its knobs; each change makes new plans, which go to whoever
keeps the receivers in tune, and moves the tones that sound to where they now belong.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from dataclasses import replace as replaced
from threading import RLock
from typing import Any, Protocol

from msgspec.structs import replace

from tonegen import presets
from tonegen.errors import BadValue
from tonegen.instrument import Grip
from tonegen.keys.plan import Plan, plan
from tonegen.keys.receivers import Receiver
from tonegen.keys.scale import (
    Elsewhere,
    Policy,
    Scale,
    scale_of_rig,
    scale_of_temperament,
)
from tonegen.pitch import parse_pitch, parse_pitch_class, pitch_class_name
from tonegen.setup import moves
from tonegen.setup.context import context_of
from tonegen.setup.rig import Bare, Rig
from tonegen.setup.setting import Hands, Song, song_now, song_of
from tonegen.temperament import EQUAL, PitchClassTemperament, Temperament, on_root


class Sounder(Protocol):
    """What plays tones through the speakers; each has a name, by which it is known again."""

    def play(self, hz: Mapping[str, float]) -> None:
        """Sound these, in place of those before."""

    def glide(self, hz: Mapping[str, float]) -> None:
        """Bring the tones that sound to these frequencies, phases kept."""

    def stop(self) -> None:
        """Fade out."""


@dataclass
class Desk:
    """The knobs. Where the rig is bare of an instrument, its temperament alone makes the scale.

    receivers : those that are tuned, by name.
    grips : names of those heard, in place of all that the instrument has; the first leads.
    follow : take all strings in the state of the pedals, in place of grips; set by the first pedal.
    songs : the set list. stays : what of the rig no temperament brings along, "drop" or "reference_hz", since
        it was asked for.
    sounder : None where nothing can be heard.
    played : what sounds there, as it was asked for; it follows the knobs.
    changed, silenced : told of other plans, by receiver, and that the receivers shall be silent.
    again : sends the tuning once more. Raises BadValue where no receiver can ask for it.
    """

    receivers: Mapping[str, Receiver]
    rig: Rig | Bare = field(default_factory=Bare)
    hands: Hands = field(default_factory=Hands)
    songs: tuple[Song, ...] = ()
    follow: bool = False
    grips: tuple[str, ...] = ()
    weights: Mapping[str, float] = field(default_factory=dict)
    policy: Policy = Policy.MEAN
    fill: Temperament = EQUAL
    fixed_scale: Scale | None = None
    stays: frozenset[str] = frozenset()
    sounder: Sounder | None = None
    played: tuple[str, ...] = ()
    changed: Callable[[Mapping[str, Plan]], None] = lambda plans: None
    silenced: Callable[[], None] = lambda: None
    again: Callable[[], None] = lambda: None

    def __post_init__(self) -> None:
        """Changes may come from several threads, one at a time."""
        self._lock = RLock()
        self._stood: dict[str, float] = {}  # pedals and levers that come in as controllers, where they stand
        self._elsewhere = Elsewhere(self.rig.instrument) if isinstance(self.rig, Rig) else None

    def scale(self) -> Scale:
        """The scale that is set. Raises BadValue where the knobs do not fit each other."""
        rig = self.rig
        if self.fixed_scale is not None:
            return self.fixed_scale
        if isinstance(rig, Bare):
            return scale_of_temperament(rig.targets, rig.reference_hz)
        return scale_of_rig(
            rig, self.hands, follow=self.follow, grips=self.grips, weights=self.weights, policy=self.policy,
            elsewhere=self._elsewhere, fill=self.fill,
        )  # fmt: skip

    def plans(self) -> dict[str, Plan]:
        """The plan of each receiver for what is set."""
        scale = self.scale()
        return {name: plan(scale, one) for name, one in self.receivers.items()}

    def _set(self, **knobs: Any) -> None:
        """Turn knobs all together: refused knobs are put back as they were."""
        with self._lock:
            before = {name: getattr(self, name) for name in knobs}
            for name, value in knobs.items():
                setattr(self, name, value)
            try:
                plans = self.plans()
                tones = self._tones(self.played)
            except Exception:
                for name, value in before.items():
                    setattr(self, name, value)
                raise
            if tones and self.sounder is not None:
                self.sounder.glide(tones)
            self.changed(plans)

    def _with_instrument(self) -> Rig:
        """The rig, where it has an instrument. Raises BadValue otherwise."""
        if isinstance(self.rig, Bare):
            raise BadValue("this needs an instrument; start with --instrument")
        return self.rig

    # -- the controller's calls ----------------------------------------------------------------------------

    def engage(self, change: str, travel: float) -> None:
        """Engage a pedal or lever, and let go of what cannot go with it; the scale then follows the state."""
        with self._lock:
            instrument = self._with_instrument().instrument
            self._set(hands=moves.engage(instrument, self.hands, change, travel), follow=True)

    def move(self, travels: Mapping[str, float]) -> None:
        """Follow several pedals and levers at once, each to where it stands."""
        with self._lock:
            instrument = self._with_instrument().instrument
            moved = moves.stand(instrument, self.hands, {**self.hands.travels, **travels})
            self._set(hands=moved, follow=True)

    def stand(self, travels: Mapping[str, float]) -> None:
        """Follow pedals and levers that come in as controllers: those that have moved since the last time.

        What is refused, such as two levers that exclude each other, is tried again with the next move: the
        one that stays down counts as soon as the other is up.
        """
        self.move({name: travel for name, travel in travels.items() if self._stood.get(name) != travel})
        self._stood = dict(travels)

    def fret(self, fret: float) -> None:
        """Put the bar to a fret."""
        with self._lock:
            self._set(hands=moves.bar(self._with_instrument().instrument, self.hands, fret))

    def temperament(self, name: str, root: str | None) -> None:
        """Choose a temperament by its name, and what it is built on; it brings along what it was made with.

        No file elsewhere: whoever asks may be another machine.
        """
        presets.listed("temperaments", name)
        usual = self.rig.instrument.root if isinstance(self.rig, Rig) else 0
        chosen = on_root(presets.temperament(name), parse_pitch_class(root) if root else None, usual)
        with self._lock:
            self._set(rig=replaced(self.rig, targets=chosen, **self._brought_along(chosen)), fixed_scale=None)

    def _brought_along(self, chosen: Temperament) -> dict[str, Any]:
        if isinstance(self.rig, Bare):
            return {}
        made_with, brought = context_of(chosen), dict[str, Any]()
        if made_with.drop is not None:
            brought["drop"] = presets.drop(made_with.drop).checked_on(self.rig.instrument)
        if made_with.reference_hz is not None:
            brought["reference_hz"] = made_with.reference_hz
        return {part: value for part, value in brought.items() if part not in self.stays}

    def play(self, tones: tuple[str, ...]) -> None:
        """Sound notes in the temperament's tune, frequencies, or grips; they follow every knob from then on.

        A grip is a saved one by name, or strings such as "3,4,5", under the bar and the pedals; a saved one
        has its own changes until the first pedal moves.
        """
        if self.sounder is None:
            raise BadValue("there is no sound device to play tones on")
        with self._lock:
            self.sounder.play(self._tones(tones))
            self.played = tones

    def stop(self) -> None:
        """End the tones."""
        with self._lock:
            if self.sounder is not None:
                self.sounder.stop()
            self.played = ()

    def panic(self) -> None:
        """End the tones, and all notes at the receiver."""
        self.stop()
        self.silenced()

    def _tones(self, played: Sequence[str]) -> dict[str, float]:
        """The frequency of everything played, by name. Raises BadValue for what is neither note nor grip."""
        hz: dict[str, float] = {}
        for text in played:
            if grip := self._grip(text):
                hz |= self._strings(grip)
                continue
            written = parse_pitch(text)
            offset = float(self.scale().key_cents[written.key]) if written.key is not None else 0.0
            hz[text] = written.hz_at(self.rig.reference_hz, offset)
        return hz

    def _grip(self, text: str) -> Grip | None:
        """The grip that a text names; None for a note or a frequency."""
        if strings := moves.listed_strings(text):
            rig = self._with_instrument()
            return rig.instrument.grip_of(strings, rig.state(self.hands.travels))
        saved = self.rig.instrument.grips if isinstance(self.rig, Rig) else ()
        return next((grip for grip in saved if grip.name == text), None)

    def _strings(self, grip: Grip) -> dict[str, float]:
        rig, hands = self._with_instrument(), self.hands
        if not self.follow:
            hands = replace(hands, travels=dict.fromkeys(grip.changes, 1.0))
        return {f"string {tone.string}": tone.hz for tone in rig.tones_of(grip, hands)}

    def song(self, name: str) -> None:
        """Bring the bar, or without an instrument the temperament's root, to a song's key."""
        with self._lock:
            song, rig = song_of(self.songs, name), self.rig
            if self.fixed_scale is not None:
                raise BadValue("a tuning dump is in one key only; choose a temperament, then the song")
            if isinstance(rig, Rig):
                self._set(hands=moves.go_to_song(rig.instrument, self.songs, self.hands, name))
            elif isinstance(rig.targets, PitchClassTemperament):
                there = replaced(rig, targets=rig.targets.on(song.key))
                self._set(rig=there, hands=replace(self.hands, song=name))

    def send_again(self) -> None:
        """Send the whole tuning once more, to a synthesizer that has just started."""
        self.again()

    def state(self) -> dict[str, Any]:
        """What is set, for an answer."""
        rig, hands = self.rig, self.hands
        root = getattr(rig.targets, "root", None)
        song = song_now(rig.instrument, self.songs, hands) if isinstance(rig, Rig) else hands.song
        return {
            "instrument": rig.instrument.name if isinstance(rig, Rig) else None,
            "temperament": rig.targets.name,
            "root": None if root is None else pitch_class_name(root),
            "fret": hands.fret,
            "travels": hands.travels,
            "song": song or None,
            "playing": list(self.played),
            "reference_hz": rig.reference_hz,
        }
