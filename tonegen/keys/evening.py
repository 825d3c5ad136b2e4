"""An evening under way: a set, its receivers, and what hands and feet do, from song to song.

Each note goes to the receivers that play it, each press to the rules of `setlist.presses`; a song that is
gone to reaches each receiver by `keys.going`. No port, no thread and no clock is known here.

Times are seconds of any steady clock, given by whoever calls.
"""

from collections.abc import Hashable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from tonegen.errors import BadValue
from tonegen.keys import midi
from tonegen.keys.cable import Cable
from tonegen.keys.controls import Controls, Pressed
from tonegen.keys.going import Going
from tonegen.keys.leads import follower_of
from tonegen.keys.plan import Plan
from tonegen.keys.receivers import Osc
from tonegen.keys.sets import SetPlan
from tonegen.pitch import note_name
from tonegen.setlist.presses import Presses, PressOutcome
from tonegen.setlist.records import Action, Lead, SetReceiver, SetSong

if TYPE_CHECKING:
    from tonegen.keys.chords import ChordFollower

# So long a receiver may wait before the player is told what for (common practice, no source).
SECONDS_TO_WAIT: Final = 4.0
KEYBOARD: Final = ""  # the port of who plays
_NOTES: Final = (midi.NOTE_OFF, midi.NOTE_ON, midi.KEY_PRESSURE)


class Evening:
    """A set while it is played.

    goings : the receivers, by name. pedals_moved : those of the steel, or the song with pedals down: what
        follows the steel is to be worked out anew, see `travels`.
    """

    def __init__(
        self,
        made: SetPlan,
        cables: Mapping[str, Cable],
        place: int = 0,
        mpe_keyboard: bool = False,
        passes: bool = True,
    ) -> None:
        """The song at a place: each receiver that has a cable is tuned for it, and was sent what it sends.

        passes : whether the player's notes pass through; else they reach the receivers by another way.
        """
        self._made = made
        self.presses: Final = Presses(made.evening, place)
        self._controls = Controls(made.evening.controls)
        self.goings: Final = {
            name: Going(made.plans[place][name], cable, mpe_keyboard, passes)
            for name, cable in cables.items()
        }
        self._led_by_steel: Final = tuple(
            one.name for one in made.evening.receivers if one.lead is Lead.STEEL and one.name in self.goings
        )
        for one in made.evening.receivers:
            if one.lead is not Lead.OFF and one.name in self.goings:
                self.follow(one.name, follower_of(made.plans[place][one.name], one.lead))
        self._lead(place)
        self._gone: set[str] = set()
        self._under_way: set[str] = set()
        self._pressed_at = float("-inf")
        self._waited_told = True
        self._wait_is_on = False  # and the player was told
        self._steel: dict[str, float] = {}
        self._by_feet: dict[str, float] = {}
        self.pedals_moved = False
        self._routes: tuple[tuple[tuple[SetReceiver, Going], ...], ...] = tuple(
            tuple(
                (one, self.goings[one.name])
                for one in made.evening.receivers
                if one.name in self.goings and (not one.from_channels or channel in one.from_channels)
            )
            for channel in midi.ALL_CHANNELS
        )

    # -- what comes in -------------------------------------------------------------------------------------

    def receive(self, message: bytes, now: float, port: str = KEYBOARD) -> PressOutcome | None:
        """One whole message of a port; what became of it where it was a press.

        What comes from a foot board and is no control of the set goes nowhere. Raises BadValue for what is
        meant for the set and makes no sense.
        """
        taken, pressed = self._controls.taken(port, message)
        if taken:
            return None if pressed is None else self._press(pressed, now, port)
        if port == KEYBOARD:
            self._play(message, now)
        return None

    def _play(self, message: bytes, now: float) -> None:
        status = message[0]
        if status >= midi.SYSTEM:
            for going in self.goings.values():
                going.receive(message, now)
        elif status & midi.KIND_BITS in _NOTES:
            key, channel = message[1], (status & midi.CHANNEL_BITS) + 1
            for one, going in self._routes[channel - 1]:
                if not one.plays(channel, key):
                    continue
                if not one.transpose:
                    going.receive(message, now)
                elif 0 <= (moved := key + one.transpose) <= 127:
                    going.receive(bytes((status, moved, message[2])), now)
        else:
            for _, going in self._routes[status & midi.CHANNEL_BITS]:
                going.receive(message, now)

    def _press(self, pressed: Pressed, now: float, port: str) -> PressOutcome:
        control = pressed.control
        if pressed.travel is not None:
            self._by_feet[control.change] = pressed.travel
            self.move({control.change: pressed.travel})
            return PressOutcome()
        if control.action is Action.PANIC:
            self.panic(now)
            return PressOutcome()
        if pressed.show is midi.ShowCommand.LOAD:
            if pressed.number is None:
                raise BadValue("Show Control: LOAD names no song")
            outcome = self.presses.load(pressed.number, now, port)
            if outcome.why or (song := self._next_song()) is None:
                return outcome
            return PressOutcome(why=f"Next is {song.number} {song.name}.")
        if pressed.show in (midi.ShowCommand.ALL_OFF, midi.ShowCommand.RESTORE):
            return self.presses.hold(pressed.show is midi.ShowCommand.ALL_OFF)
        action = control.action
        if pressed.show is midi.ShowCommand.GO:
            action = Action.NEXT if pressed.number is None else Action.NUMBER
        return self.press(control, action, now, pressed.number, port)

    def press(
        self, control: Hashable, action: Action, now: float, number: int | None = None, port: str = ""
    ) -> PressOutcome:
        """A press by any other way, such as OSC: see `Presses.press`."""
        before = self.presses.place
        outcome = self.presses.press(control, action, now, number, port)
        if outcome.goes_to is not None:
            self._go(before, now)
        return outcome

    # -- songs ---------------------------------------------------------------------------------------------

    def _go(self, before: int, now: float) -> None:
        place = self.presses.place
        self._pressed_at, self._waited_told, self._wait_is_on = now, False, False
        self._under_way = {*self.goings} - self._gone
        for name, going in self.goings.items():
            # where something was left unsent, all that stands in the song is sent
            since = None if going.has_sends else before
            going.go(self._made.plans[place][name], self._made.sends(name, since, place), now)
        self._lead(place)
        self.pedals_moved = bool(self._steel)

    def _lead(self, place: int) -> None:
        """Have the steel's strings lead as they stand in a song with its pedals up."""
        if self._led_by_steel:
            self.strings_stand(self._made.strings(place, {}))

    def strings_stand(self, tones: Sequence[tuple[int, float]]) -> None:
        """Key and offset of each string, for receivers that the steel leads."""
        for name in self._led_by_steel:
            self.led_by(name, tones)

    def travels(self) -> dict[str, float]:
        """Where pedals and levers of the steel stand; `pedals_moved` until this is asked."""
        self.pedals_moved = False
        return dict(self._steel)

    def moved_by_feet(self) -> dict[str, float]:
        """Pedals and levers that controls have moved since this was asked last, with their travels."""
        # Moves, not where all pedals stand: a late answer must not push back a pedal that a hand has moved.
        moved, self._by_feet = self._by_feet, {}
        return moved

    def move(self, travels: Mapping[str, float]) -> None:
        """Pedals and levers of the steel were moved by a control, or by hand on a page."""
        self._steel = {**self._steel, **travels}
        self.pedals_moved = True

    def retune(self, plans: Mapping[str, Plan]) -> None:
        """Bring receivers to other plans within the song, as pedals of the steel do: see `SetPlan.moved`."""
        for name, made in plans.items():
            if name in self.goings:
                self.goings[name].retune(made)

    def follow(self, name: str, follower: "ChordFollower | None") -> None:
        """Have each new note of a receiver follow the chord, or none: see `leads.check_follows`."""
        self.goings[name].follow(follower)

    def led_by(self, name: str, tones: Sequence[tuple[int, float]]) -> None:
        """Key and offset of what others sound, for a receiver's notes that follow the chord."""
        self.goings[name].led_by(tones)

    def pass_notes(self, passes: bool, now: float) -> None:
        """Have the player's notes pass through from now on, or come by another way."""
        for going in self.goings.values():
            going.pass_notes(passes, now)

    def send_due(self, now: float) -> float | None:
        """Send what may go out now. Gives the time at which to ask again; None when all has been sent."""
        dues = [due for going in self.goings.values() if (due := going.send_due(now)) is not None]
        return min(dues, default=None)

    # -- receivers that go and come, the end ---------------------------------------------------------------

    def gone(self, name: str) -> None:
        """A receiver vanished: it is passed over."""
        self._gone.add(name)
        self._under_way.discard(name)
        self.goings[name].be_gone()

    def back(self, name: str, now: float) -> None:
        """It is back, from nothing: it is brought to the song of this moment."""
        self._gone.discard(name)
        self._under_way.add(name)
        place = self.presses.place
        here = self._made.plans[place][name]
        kept = sorted(self._made.stored.get(name, ()), key=lambda one: one is not here)  # this song's first
        dumps = [message for one in kept for message in one.tuning]
        self.goings[name].start_over(now, self._made.sends(name, None, place), dumps)

    def finish(self, now: float) -> None:
        """End every note that is held."""
        for going in self.goings.values():
            going.finish(now)

    def panic(self, now: float) -> None:
        """End every note, every ring and every pedal, on all channels of every port."""
        for going in self.goings.values():
            going.finish(now)
            if not isinstance(going.plan.receiver, Osc):
                going.pass_on(midi.notes_off(midi.ALL_CHANNELS), now)

    # -- what is shown -------------------------------------------------------------------------------------

    def waits(self) -> dict[str, tuple[str, ...]]:
        """Receivers that are still going, each with the notes of the player that it waits for."""
        found = {}
        for name in sorted(self._under_way):
            waiting = self.goings[name].waiting()
            if waiting is None:
                self._under_way.discard(name)
                continue
            moved = self._made.evening.receiver(name).transpose
            found[name] = tuple(note_name(key - moved) for key in waiting)
        return found

    def waited_long(self, now: float) -> str:
        """What has been waited for for 4 s, then that it is over, each once for a song; "" for nothing."""
        if self._wait_is_on and not self.waits():
            self._wait_is_on = False
            return "All receivers are ready"
        if self._waited_told or now - self._pressed_at < SECONDS_TO_WAIT:
            return ""
        self._waited_told = True
        held = {name: keys for name, keys in self.waits().items() if keys}
        self._wait_is_on = bool(held)
        return "; ".join(f"{name} waits for {' '.join(keys)}" for name, keys in held.items())

    def _next_song(self) -> SetSong | None:
        after = self.presses.next_place
        return None if after is None else self._made.evening.songs[after]

    def state(self) -> dict[str, Any]:
        """What is now and next, and how each receiver stands, for an answer."""
        evening, presses = self._made.evening, self.presses
        here, waits = self._made.states[presses.place], self.waits()
        after = self._next_song()
        return {
            "set": evening.name,
            "song": here.song.name,
            "number": here.song.number,
            "key": here.key_name or None,
            "fret": here.fret,
            "line": here.song.line,
            "next": None if after is None else after.name,
            "next_number": None if after is None else after.number,
            "hold": presses.held,
            "going": bool(waits),
            "receivers": [
                {"name": name, "state": self._stands(name, waits), "waits_for": list(waits.get(name, ()))}
                for name in self.goings
            ],
        }

    def _stands(self, name: str, waits: Mapping[str, tuple[str, ...]]) -> str:
        if name in self._gone:
            return "gone"
        return "going" if name in waits else "ready"
