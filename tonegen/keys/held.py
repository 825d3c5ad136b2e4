"""What keys and pedals hold on one channel of a player, by the rules of MIDI 1.0."""

from tonegen.keys import midi


class HeldKeys:
    """The keys of a channel that sound because a key or a pedal holds them."""

    __slots__ = ("_caught", "_down", "_sostenuto", "_sustain", "sounding")

    def __init__(self) -> None:
        """Nothing sounds, all pedals are up."""
        self.sounding: set[int] = set()  # keys, as in those below
        self._down: set[int] = set()
        self._caught: set[int] = set()  # by the sostenuto pedal
        self._sustain = self._sostenuto = False

    def strike(self, key: int) -> None:
        """A key goes down."""
        self._down.add(key)
        self.sounding.add(key)

    def is_down(self, key: int) -> bool:
        """Whether a key is down; where it is struck, its note-off was lost."""
        return key in self._down

    def release(self, key: int) -> None:
        """A key goes up; whether it still sounds: see `let_go`."""
        self._down.discard(key)

    def control(self, controller: int, value: int) -> None:
        """A pedal moves, or a mode message lets go of notes; any other controller is none of ours."""
        down = value >= 64
        if controller == midi.SUSTAIN:
            self._sustain = down
        elif controller == midi.SOSTENUTO and down != self._sostenuto:
            self._sostenuto = down
            self._caught = set(self.sounding) if down else set()
        elif controller == midi.RESET_CONTROLLERS:
            self._sustain = self._sostenuto = False
            self._caught.clear()
        elif controller >= midi.ALL_NOTES_OFF:
            self._down.clear()

    def let_go(self) -> set[int]:
        """The keys that nothing holds any more; they are silent, or ring out, from now on."""
        if self._sustain:
            return set()
        ended = self.sounding - self._down - self._caught
        self.sounding -= ended
        return ended

    def silence(self) -> set[int]:
        """All keys that sound; they are silent from now on, whatever holds them."""
        ended = self.sounding
        self.sounding, self._down, self._caught = set(), set(), set()
        return ended
