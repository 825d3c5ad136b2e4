"""What each song of a set costs: its bytes at each receiver, how long they take, and what they wait for.

Source of the seconds: MIDI 1.0, 31,250 baud, ten bits to the byte.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from tonegen.keys import midi
from tonegen.keys.going import Waits, waits_of
from tonegen.keys.plan import Left
from tonegen.keys.receivers import KeyTuning, Osc
from tonegen.keys.sets import SetPlan
from tonegen.setlist.records import Action, ControlKind, SetList

# Longer than a player waits between two songs (common practice, no source).
_LONG_SECONDS: Final = 2.0
_HIGHEST_PROGRAM: Final = 128
SHOW_CONTROL_CAUTION: Final = (
    "Show Control must not be used where anybody can be hurt: not for lifts, pyrotechnics or moving scenery. "
    "Follow the local rules, and leave those to qualified people."
)


@dataclass(frozen=True, slots=True)
class SongCost:
    """What a receiver is sent when a song comes after the one before it in the set; at first, all it needs.

    messages : in their order. seconds : on a MIDI cable; None by OSC. pause_seconds : that it needs between.
    left : what its resolution leaves.
    """

    receiver: str
    messages: tuple[bytes, ...]
    seconds: float | None
    pause_seconds: float
    waits_for: Waits
    left: Left

    @property
    def bytes(self) -> int:
        """How many are sent."""
        return sum(map(len, self.messages))


def song_costs(made: SetPlan) -> tuple[tuple[SongCost, ...], ...]:
    """What each song costs, at each receiver that can hold its tuning."""
    changes: dict[tuple[str, int, int], tuple[bytes, ...]] = {}  # songs share plans
    left: dict[int, Left] = {}
    return tuple(
        tuple(_cost(made, name, place, changes, left) for name in plans)
        for place, plans in enumerate(made.plans)
    )


def _cost(
    made: SetPlan,
    name: str,
    place: int,
    changes: dict[tuple[str, int, int], tuple[bytes, ...]],
    left: dict[int, Left],
) -> SongCost:
    """What a song costs at a receiver; `changes` and `left` keep what other songs have in common with it."""
    now, then = made.plans[place][name], made.plans[place - 1].get(name) if place else None
    if then is None:
        before, waits, tuning = None, Waits.NOTHING, made.start(name, place)
    else:
        before, between = place - 1, (name, id(then), id(now))
        if between not in changes:
            changes[between] = made.change(name, before, place)
        tuning = changes[between]
        waits = waits_of(made.receivers[name]) if tuning else Waits.NOTHING
    if id(now) not in left:
        left[id(now)] = now.worst_left
    messages = (*made.sends(name, before, place), *tuning)
    receiver = made.receivers[name]
    sysex = sum(message[0] == midi.SYSEX for message in messages)
    return SongCost(
        name,
        messages,
        None if isinstance(receiver, Osc) else _on_a_cable(messages),
        sysex * receiver.sysex_seconds,
        waits,
        left[id(now)],
    )


def start_seconds(made: SetPlan, first: Iterable[SongCost]) -> float:
    """How long until all receivers are ready for the first song, which costs that.

    Ports are sent to side by side.
    """
    return max(_by_port(made, first).values(), default=0.0)


def cautions(made: SetPlan, songs: Sequence[Sequence[SongCost]]) -> tuple[str, ...]:
    """What may surprise about a set that is not wrong, in sentences with the cure.

    songs : what they cost.
    """
    evening = made.evening
    said = [*made.cautions]
    if not evening.receivers:
        said.append(f"The set has no receivers yet, so nothing is sent; {how_to_add_receivers(evening)}.")
    for song, costs in zip(evening.songs[1:], songs[1:], strict=True):
        for port, seconds in _by_port(made, costs).items():
            if seconds > _LONG_SECONDS:
                there = [cost for cost in costs if evening.receiver(cost.receiver).where == port]
                said.append(f"{song.name}: {_long(made, there, seconds)}")
    by_number = {ControlKind.PROGRAM, ControlKind.SONG_SELECT}
    if any(one.action is Action.NUMBER and one.kind in by_number for one in evening.controls):
        said += [
            f"{song.name}: no program change or song select reaches number {song.number}; "
            f"give it one up to {_HIGHEST_PROGRAM}."
            for song in evening.songs
            if song.number > _HIGHEST_PROGRAM
        ]
    if evening.lights or any(one.kind is ControlKind.SHOW_CONTROL for one in evening.controls):
        said.append(SHOW_CONTROL_CAUTION)
    return tuple(said)


def how_to_add_receivers(evening: SetList) -> str:
    """What to do about a set that has none; that of the page has no file."""
    if evening.file:
        return "add [[receivers]] to its file, as the set demo-dance-night has them"
    return f"make a file of it to add them: tonegen copy set {evening.name} my-evening"


def _on_a_cable(messages: Iterable[bytes]) -> float:
    return sum(map(len, messages)) * midi.SECONDS_PER_BYTE


def _by_port(made: SetPlan, costs: Iterable[SongCost]) -> Mapping[str, float]:
    seconds: dict[str, float] = defaultdict(float)
    for cost in costs:
        seconds[made.evening.receiver(cost.receiver).where] += (cost.seconds or 0.0) + cost.pause_seconds
    return seconds


def _long(made: SetPlan, costs: Iterable[SongCost], seconds: float) -> str:
    """That a change takes long, and what helps most."""
    worst = max(costs, key=lambda cost: (cost.seconds or 0.0) + cost.pause_seconds)
    receiver = made.receivers[worst.receiver]
    if isinstance(receiver, KeyTuning) and worst.pause_seconds > (worst.seconds or 0.0):
        cure = "tune it by mts-octave if it takes that, or shorten sysex_seconds of the receiver"
    else:
        cure = "send it fewer bytes in this song"
    return f"the change takes {seconds:.1f} s at {worst.receiver}; {cure}."
