"""What is set on the rig: instrument, temperament, bar, pedals; and the scale and the plan that follow.

A foot controller by OSC, pedals by MIDI, and the page all turn the same knobs; each change makes a new plan,
which goes to whoever keeps the receiver in tune, and moves the tones that sound to where they now belong.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from threading import RLock
from typing import Any, Final, Protocol

from tonegen import presets
from tonegen.drop import NO_DROP, Drop
from tonegen.errors import BadValue
from tonegen.instrument import Grip, Instrument
from tonegen.keys.plan import Plan, plan
from tonegen.keys.receivers import Receiver
from tonegen.keys.scale import (
    Elsewhere,
    Heard,
    Policy,
    Scale,
    heard_grips,
    heard_state,
    scale_of_instrument,
    scale_of_temperament,
)
from tonegen.pitch import REFERENCE_HZ, parse_pitch, parse_pitch_class, pitch_class_name
from tonegen.sounding import tones_of_grip
from tonegen.temperament import EQUAL, PitchClassTemperament, Temperament

_STRINGS: Final = re.compile(r"\d{1,3}([,-]\d{1,3})+", re.ASCII)


def listed_strings(text: str) -> tuple[int, ...]:
    """The strings of "3,4,5" or "3-4-5"; none for any other text.

    >>> listed_strings("3-4-5"), listed_strings("E major")
    ((3, 4, 5), ())
    """
    return tuple(map(int, re.split("[,-]", text))) if _STRINGS.fullmatch(text) else ()


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
    """The knobs. Without an instrument the temperament alone makes the scale.

    grips : names of those heard, in place of all that the instrument has; the first leads.
    follow : take all strings in the state of the pedals, in place of grips; set by the first pedal.
    songs : by name, the pitch class of each song's key. sounder : None where nothing can be heard.
    played : what sounds there, as it was asked for; it follows the knobs.
    changed, silenced : told of another plan, and that the receiver shall be silent.
    again : sends the tuning once more; None for a receiver that cannot ask for it.
    """

    receiver: Receiver
    temperament_used: Temperament = EQUAL
    instrument: Instrument | None = None
    drop: Drop = NO_DROP
    fret_at: float = 0.0
    travels: dict[str, float] = field(default_factory=dict)
    follow: bool = False
    grips: tuple[str, ...] = ()
    weights: Mapping[str, float] = field(default_factory=dict)
    policy: Policy = Policy.MEAN
    fill: Temperament = EQUAL
    reference_hz: float = REFERENCE_HZ
    fixed_scale: Scale | None = None
    songs: Mapping[str, int] = field(default_factory=dict)
    song_now: str = ""
    sounder: Sounder | None = None
    played: tuple[str, ...] = ()
    changed: Callable[[Plan], None] = lambda made: None
    silenced: Callable[[], None] = lambda: None
    again: Callable[[], None] | None = None

    def __post_init__(self) -> None:
        """Changes may come from several threads, one at a time."""
        self._lock = RLock()
        self._elsewhere = Elsewhere(self.instrument) if self.instrument is not None else None

    def scale(self) -> Scale:
        """The scale that is set. Raises BadValue where the knobs do not fit each other."""
        if self.fixed_scale is not None:
            return self.fixed_scale
        if self.instrument is None:
            return scale_of_temperament(self.temperament_used, self.reference_hz)
        heard = self._heard(self.instrument)
        return scale_of_instrument(
            self.instrument,
            self.temperament_used,
            heard,
            drop=self.drop,
            fret=self.fret_at,
            policy=self.policy,
            first=self._first(heard),
            elsewhere=self._elsewhere if self.follow else None,
            fill=self.fill,
            reference_hz=self.reference_hz,
        )

    def _heard(self, instrument: Instrument) -> tuple[Heard, ...]:
        if self.follow:
            return heard_state(instrument, instrument.state(self.travels))
        return heard_grips(instrument, self.grips, self.weights)

    @staticmethod
    def _first(heard: Sequence[Heard]) -> Grip:
        return heard[0].grip

    def plan(self) -> Plan:
        """The plan for what is set."""
        return plan(self.scale(), self.receiver)

    def _set(self, **knobs: Any) -> None:
        """Turn knobs all together: refused knobs are put back as they were."""
        with self._lock:
            before = {name: getattr(self, name) for name in knobs}
            for name, value in knobs.items():
                setattr(self, name, value)
            try:
                made = self.plan()
                tones = self._tones(self.played)
            except Exception:
                for name, value in before.items():
                    setattr(self, name, value)
                raise
            if tones and self.sounder is not None:
                self.sounder.glide(tones)
            self.changed(made)

    def _instrument(self) -> Instrument:
        if self.instrument is None:
            raise BadValue("this needs an instrument; start with --instrument")
        return self.instrument

    # -- the controller's calls ----------------------------------------------------------------------------

    def engage(self, change: str, travel: float) -> None:
        """Engage a pedal or lever; the scale then follows the state of all strings."""
        self.move({change: travel})

    def move(self, travels: Mapping[str, float]) -> None:
        """Move several pedals and levers at once."""
        with self._lock:
            travels = {**self.travels, **travels}
            self._instrument().state(travels)  # refused before anything moves
            self._set(travels={name: travel for name, travel in travels.items() if travel}, follow=True)

    def fret(self, fret: float) -> None:
        """Put the bar to a fret."""
        self._set(fret_at=self._instrument().checked_fret(fret))

    def temperament(self, name: str, root: str | None) -> None:
        """Choose a temperament by its name, and what it is built on.

        No file elsewhere: whoever asks may be another machine.
        """
        if name not in presets.names("temperaments"):
            raise BadValue(f'there is no temperament called "{name[:60]}"; see: tonegen list temperaments')
        chosen = presets.temperament(name)
        if isinstance(chosen, PitchClassTemperament):
            usual = self.instrument.root if self.instrument else 0
            chosen = chosen.on(parse_pitch_class(root) if root else usual)
        elif root:
            raise BadValue(f"{chosen.name} gives every tuning point its own offset and takes no root")
        self._set(temperament_used=chosen, fixed_scale=None)

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
            hz[text] = written.hz_at(self.reference_hz, offset)
        return hz

    def _grip(self, text: str) -> Grip | None:
        """The grip that a text names; None for a note or a frequency."""
        if strings := listed_strings(text):
            instrument = self._instrument()
            return instrument.grip_of(strings, instrument.state(self.travels))
        saved = self.instrument.grips if self.instrument is not None else ()
        return next((grip for grip in saved if grip.name == text), None)

    def _strings(self, grip: Grip) -> dict[str, float]:
        instrument = self._instrument()
        tones = tones_of_grip(
            instrument,
            grip,
            instrument.state(self.travels if self.follow else grip.changes),
            self.fret_at,
            self.temperament_used,
            self.drop,
            self.reference_hz,
        )
        return {f"string {tone.string}": tone.hz for tone in tones}

    def song(self, name: str) -> None:
        """Bring the bar, or without an instrument the temperament's root, to a song's key."""
        if name not in self.songs:
            known = ", ".join(self.songs) or "none; name them with --song NAME=KEY"
            raise BadValue(f'there is no song "{name}"; there are: {known}')
        if self.fixed_scale is not None:
            raise BadValue("a tuning dump is in one key only; choose a temperament, then the song")
        key = self.songs[name]
        if self.instrument is not None:
            self._set(fret_at=float(self.instrument.fret_of_key(key)), song_now=name)
        elif isinstance(self.temperament_used, PitchClassTemperament):
            self._set(temperament_used=self.temperament_used.on(key), song_now=name)

    def send_again(self) -> None:
        """Send the whole tuning once more, to a synthesizer that has just started."""
        if self.again is None:
            raise BadValue("only a receiver that is sent OSC can ask for its tuning again")
        self.again()

    def state(self) -> dict[str, Any]:
        """What is set, for an answer."""
        root = getattr(self.temperament_used, "root", None)
        return {
            "instrument": self.instrument.name if self.instrument else None,
            "temperament": self.temperament_used.name,
            "root": None if root is None else pitch_class_name(root),
            "fret": self.fret_at,
            "travels": self.travels,
            "song": self.song_now or None,
            "playing": list(self.played),
            "reference_hz": self.reference_hz,
        }
