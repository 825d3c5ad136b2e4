"""The ear of the page, in a process of its own: nothing that sounds waits for what is worked out here."""

import threading
from collections import deque
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tonegen.errors import NoSuchDevice, TonegenError
from tonegen.listen.beating import BeatHearing, BeatingPair, HeardBeating
from tonegen.listen.clock import CardClock
from tonegen.listen.heard import HeardString
from tonegen.listen.learned import LearnedString, learn
from tonegen.listen.live import HeardNow, LiveHearing
from tonegen.listen.spectrum import Expected
from tonegen.sound.clocks import kept_clock
from tonegen.sound.device import Device, input_devices, look_again
from tonegen.sound.input import SILENCE, SoundInput, chosen_input

_SILENT_SECONDS = 4.0
_BEGINS_SECONDS = 0.6  # a tone that the program begins is no pick
_BEHIND_SECONDS = 0.25
_MOST_UNTOLD = 100
_MOST_SOUNDS = 40  # seconds of picks
Array = NDArray[np.float64]


Wanted = tuple[Expected, ...] | BeatingPair | None


@dataclass(frozen=True, slots=True)
class HeardPick:
    """A pick that rang for a second, or as far as it did. why_not : why it is no reading. number : counts."""

    strings: tuple[int, ...] = ()
    string: int = 0
    off_cents: float = 0.0
    error_cents: float = 0.0
    why_not: str = ""
    number: int = 0


class HearingBench:
    """Listens to one input."""

    def __init__(self) -> None:
        """Listen to nothing yet."""
        self._thread: threading.Thread | None = None
        self._over = threading.Event()
        self._heard: deque[HeardPick | HeardBeating] = deque(maxlen=_MOST_UNTOLD)
        self._wanted: Wanted = None
        self._own_hz: tuple[float, ...] = ()
        self._sounds: dict[int, Array] = {}  # of the latest picks
        self._number = 0
        self._rate = 0
        self._failure: TonegenError | None = None
        self._silent = False

    def inputs(self) -> tuple[tuple[str, int], ...]:
        """Name and channels of each input there is, those of the system's usual way first.

        What was plugged in since is found while nothing is listened to. Raises NoSuchDevice.
        """
        if self._thread is None:
            look_again()
        found = sorted(input_devices(), key=lambda device: not device.of_default_host)
        channels: dict[str, int] = {}
        for device in found:
            channels.setdefault(device.name, device.channels)
        return tuple(channels.items())

    def listen(self, device: str | None, channel: int) -> str:
        """Listen to an input, in place of another; its name. channel : 0 for the loudest.

        Raises NoSuchDevice; BadValue for a channel that is not there.
        """
        self.put_back()
        coming = SoundInput(self._found(device), channel)
        clock = kept_clock(coming.device) or CardClock()
        coming.__enter__()
        self._over = threading.Event()
        self._failure, self._silent = None, False
        self._rate = coming.sample_rate
        self._thread = threading.Thread(target=self._listen, args=(coming, clock, self._over), daemon=True)
        self._thread.start()
        return coming.device.name

    def listen_for(self, wanted: "Wanted") -> None:
        """Listen for one of these strings, or for how a pair beats; what was heard before is forgotten."""
        self._wanted = wanted
        self._heard.clear()

    def learn(self, picks: tuple[int, ...], expected: Expected) -> LearnedString:
        """A string from the sounds of its picks. Raises UnreadSound where they are not alike, or are gone."""
        sounds = [self._sounds[pick] for pick in picks if pick in self._sounds]
        return learn(sounds, self._rate, expected)

    def take(self, sounds_hz: tuple[float, ...]) -> tuple[tuple[HeardPick | HeardBeating, ...], bool]:
        """What was heard since, and whether nothing comes in.

        sounds_hz : what the program itself plays. Raises NoSuchDevice when the input is lost.
        """
        self._own_hz = sounds_hz
        if self._failure is not None:
            raise self._failure
        return tuple(self._heard.popleft() for _ in range(len(self._heard))), self._silent

    def _found(self, device: str | None) -> Device:
        """An input, which may have been plugged in since the last look."""
        try:
            return chosen_input(device)
        except NoSuchDevice:
            look_again()
        return chosen_input(device)

    def put_back(self) -> None:
        """Listen no more."""
        self._over.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None
        self._heard.clear()

    def _keep(self, sound: Array) -> None:
        self._number += 1
        self._sounds[self._number] = sound
        self._sounds.pop(self._number - _MOST_SOUNDS, None)

    def _listen(self, coming: SoundInput, clock: CardClock, over: threading.Event) -> None:
        wanted: Wanted = None
        ear: LiveHearing | BeatHearing | None = None
        own_hz: tuple[float, ...] = ()
        begun = -_BEGINS_SECONDS
        try:
            for block in coming.blocks():
                if over.is_set():
                    return
                if self._wanted is not wanted:
                    wanted = self._wanted
                    ear = _ear_for(wanted, ear, coming.sample_rate, clock)
                    own_hz = ()
                if ear is None:
                    continue
                if self._own_hz != own_hz:
                    own_hz = self._own_hz
                    ear.sounds(np.array(own_hz))
                    begun = coming.frames / coming.sample_rate
                if isinstance(ear, BeatHearing):
                    self._heard.extend(ear.feed(block, behind=coming.behind_seconds > _BEHIND_SECONDS))
                else:
                    for now in ear.feed(block):
                        if now.whole and now.seconds > begun + _BEGINS_SECONDS:
                            self._keep(now.sound)
                            self._heard.append(replace(_told(now, clock), number=self._number))
                silent_seconds = coming.frames / coming.sample_rate if coming.peak < SILENCE else 0.0
                self._silent = silent_seconds > _SILENT_SECONDS
        except TonegenError as error:
            self._failure = error
        finally:
            coming.__exit__(None, None, None)


def _ear_for(
    wanted: Wanted, before: LiveHearing | BeatHearing | None, sample_rate: int, clock: CardClock
) -> LiveHearing | BeatHearing | None:
    if wanted is None:
        return None
    if isinstance(wanted, BeatingPair):
        return BeatHearing(sample_rate, wanted, clock)
    if isinstance(before, LiveHearing):
        before.expect(wanted)
        before.sounds(np.zeros(0))
        return before
    return LiveHearing(sample_rate, wanted)


def _told(now: HeardNow, clock: CardClock) -> HeardPick:
    heard = now.heard
    if not isinstance(heard, HeardString):
        return HeardPick(why_not=str(heard))
    error = float(np.hypot(heard.error_cents, clock.error_cents))
    return HeardPick(heard.strings, heard.expected.string, heard.cents + clock.cents, error)
