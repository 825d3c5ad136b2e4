"""Offsets of keys that follow the chord, so that no note that sounds is moved.

At each note-on the notes that may still move take the offsets x, in cents from equal temperament, that make
least

    sum over pairs w (x_high - x_low - d)^2  +  sum over notes a (x - master)^2
    +  sum over notes h exp(-age / tau) (x - last of its class)^2

within `most_cents` of their master, and within `step_cents` of where the same key sounded less than tau ago.
d is what the just ratio of a pair asks of x_high - x_low. Notes that are held, and tones that others sound,
stand still, and their octaves follow them. All consonances weigh the same: how much two partials overlap,
1/(pq), times the squared rate of their beats is proportional to f_low f_high (x_high - x_low - d)^2 whatever
p and q are.

If it is asked for, held notes glide: so slowly that nobody hears it as a move, and a little at most, to where
the same sum without the memory would have all that sound.

Numbers in, offsets out: no port, and time is the caller's. Sources of this class of methods, from memory:
W. A. Sethares, "Adaptive tunings for musical scales", J. Acoust. Soc. Am. 96 (1994); K. Stange, C. Wick and
H. Hinrichsen, "Playing music in just intonation: a dynamically adaptive tuning scheme", Computer Music
Journal 42(3) (2018).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from math import exp, isfinite
from operator import mul
from typing import Final

from tonegen.errors import BadValue
from tonegen.interval import Ratio
from tonegen.keys.scale import KEYS

MOST_SOLVED: Final = 16  # notes; of more, the nearest to the new one
_CROWDED: Final = (
    f"More than {MOST_SOLVED} notes sound at once; each new one follows the {MOST_SOLVED - 1} nearest to it."
)
_OCTAVE, _CONSONANCE, _OTHER = 4.0, 1.0, 0.1
# What each interval asks for, by its semitones above whole octaves.
JUST: Final = {
    0: Ratio(1, 1), 1: Ratio(16, 15), 3: Ratio(6, 5), 4: Ratio(5, 4), 5: Ratio(4, 3), 7: Ratio(3, 2),
    8: Ratio(8, 5), 9: Ratio(5, 3), 11: Ratio(15, 8),
}  # fmt: skip
CONSONANCES: Final = (3, 4, 5, 7, 8, 9)
# These could be either; the nearer is taken, once it is known about where the notes are.
_EITHER: Final = {
    2: (Ratio(9, 8), Ratio(10, 9)), 6: (Ratio(45, 32), Ratio(64, 45)), 10: (Ratio(9, 5), Ratio(16, 9)),
}  # fmt: skip
_AS_NEAR_CENTS: Final = 1e-9  # where both are as near, the first is taken
_LEAST_PULL: Final = 1e-6  # in place of 0: a chord that nothing holds stands where its master is
NEVER: Final = float("-inf")
GLIDE_STEP_SECONDS: Final = 0.02  # at least, from one step of a glide to the next
_AT_REST_CENTS: Final = 0.05  # nobody glides for less
_SAME_MOMENT_SECONDS: Final = 1e-9
_ROUNDING: Final = 1e-10  # cents, and slopes of about as much: nobody is moved to and fro for less


@dataclass(frozen=True, slots=True)
class ChordFollowing:
    """How keys follow.

    bass, pull : what holds the lowest note, and the others, to their master, where a consonance weighs 1.
    memory : what holds a note to the last one of its pitch class; it fades within `fade_seconds` (tau).
    most_cents : from the master. step_cents : from where the same key sounded within tau.
    settle_seconds : how long a note may still move after it began.
    glide_cents_per_second : how fast the fastest of the notes that are held glides; 0 where they stay.
    glide_most_cents : how far each, in all.
    Raises BadValue for what is negative or no number.
    """

    bass: float = 1.0
    pull: float = 0.05
    memory: float = 0.1
    most_cents: float = 20.0
    step_cents: float = 12.0
    fade_seconds: float = 2.0
    settle_seconds: float = 0.03
    glide_cents_per_second: float = 0.0
    glide_most_cents: float = 4.0

    def __post_init__(self) -> None:
        """Check each."""
        for one in fields(self):
            value = getattr(self, one.name)
            if not (isfinite(value) and value >= 0):
                raise BadValue(f"{one.name} is {value:g}; give 0 or more")
        if not self.fade_seconds:
            raise BadValue("fade_seconds is 0; give more than 0")


def deviation_cents(ratio: Ratio) -> float:
    """What a just ratio asks of the offsets: its size beyond the nearest whole semitones.

    >>> round(deviation_cents(Ratio(5, 4)), 3)
    -13.686
    """
    return ratio.cents - 100 * round(ratio.cents / 100)


def _by_difference() -> tuple[list[float], ...]:
    """By row minus column of a pair of keys, from -127 to 127: weight, and weight times what is asked.

    Then of those that could be either, which have no weight there: weight, and the two that could be asked.
    """
    tables: tuple[list[float], ...] = ([], [], [], [], [])
    for apart in range(1 - KEYS, KEYS):
        semitones, sign = abs(apart) % 12, 1 if apart >= 0 else -1
        if semitones in _EITHER:
            first, second = (sign * deviation_cents(one) for one in _EITHER[semitones])
            row = 0.0, 0.0, _OTHER, first, second
        else:
            weight = _OCTAVE if not semitones else _CONSONANCE if semitones in CONSONANCES else _OTHER
            row = weight, weight * sign * deviation_cents(JUST[semitones]), 0.0, 0.0, 0.0
        for table, value in zip(tables, row, strict=True):
            table.append(value)
    return tables


_WEIGHT, _ASKED, _OPEN_WEIGHT, _FIRST, _SECOND = _by_difference()


def asked_of_pair(semitones: int, now_cents: float) -> tuple[float, float, Ratio]:
    """Of two notes: their weight, what the one minus the other should be, and the ratio it stands for.

    semitones, now_cents : the one's key and offset minus the other's. Of two ratios the nearer is taken.
    """
    apart, (octaves, within) = semitones + KEYS - 1, divmod(abs(semitones), 12)
    if within in _EITHER:
        is_first = abs(now_cents - _FIRST[apart]) <= abs(now_cents - _SECOND[apart]) + _AS_NEAR_CENTS
        cents = (_FIRST if is_first else _SECOND)[apart]
        return _OPEN_WEIGHT[apart], cents, _EITHER[within][0 if is_first else 1].shifted(octaves)
    return _WEIGHT[apart], _ASKED[apart] / _WEIGHT[apart], JUST[within].shifted(octaves)


def least(
    keys: Sequence[int],
    still_cents: Sequence[float],
    hold: Sequence[float],
    towards_cents: Sequence[float],
    low_cents: Sequence[float],
    high_cents: Sequence[float],
) -> list[float]:
    """The offsets of the first keys, those that move, that make the sum above least.

    keys : those that move, then those that stand still at `still_cents`.
    hold, towards_cents : of each that moves, the weights that hold it, added up to more than zero, and their
        mean place.
    low_cents, high_cents : of each that moves, its bounds.

    Plain floats: of so few notes arrays would take longer, most of all where nothing is in the cache.

    >>> a, c_sharp, e = least([57, 61, 64], [], [1, 0.05, 0.05], [0, 0, 0], [-20] * 3, [20] * 3)
    >>> round(a, 2), round(c_sharp - a, 2), round(e - a, 2)  # a fifth and a third
    (0.51, -13.3, 2.08)
    """
    moving = len(hold)
    if moving == 1:
        still = tuple(zip(keys[1:], still_cents, strict=True))
        return [_least_of_one(keys[0], still, hold[0], towards_cents[0], low_cents[0], high_cents[0])]
    matrix = [[0.0] * moving for _ in hold]
    wanted = [weight * cents for weight, cents in zip(hold, towards_cents, strict=True)]
    open_pairs = []
    for one in range(moving):
        row, above = matrix[one], keys[one] + KEYS - 1
        total, right = row[one] + hold[one], wanted[one]
        for other in range(one + 1, moving):
            apart = above - keys[other]
            if weight := _WEIGHT[apart]:
                row[other] = matrix[other][one] = -weight
                matrix[other][other] += weight
                total += weight
                right += _ASKED[apart]
                wanted[other] -= _ASKED[apart]
            else:
                open_pairs.append((one, other, apart))
        for other, cents in enumerate(still_cents, moving):
            apart = above - keys[other]
            if weight := _WEIGHT[apart]:
                total += weight
                right += _ASKED[apart] + weight * cents
            else:
                open_pairs.append((one, other, apart))
        row[one], wanted[one] = total, right
    solved, at_bound = _bounded(matrix, wanted, low_cents, high_cents)
    if not open_pairs:
        return solved
    there = [*solved, *still_cents]
    for one, other, apart in open_pairs:
        now, weight, first, second = (
            there[one] - there[other],
            _OPEN_WEIGHT[apart],
            _FIRST[apart],
            _SECOND[apart],
        )
        asked = weight * (first if abs(now - first) <= abs(now - second) + _AS_NEAR_CENTS else second)
        matrix[one][one] += weight
        wanted[one] += asked
        if other < moving:
            matrix[one][other] = matrix[other][one] = -weight
            matrix[other][other] += weight
            wanted[other] -= asked
        else:
            wanted[one] += weight * there[other]
    return _bounded(matrix, wanted, low_cents, high_cents, at_bound)[0]


def _least_of_one(
    key: int, still: Sequence[tuple[int, float]], hold: float, towards: float, low: float, high: float
) -> float:
    """The same where one note moves, as most do: a mean, no more. still : key and offset of the others."""
    above = key + KEYS - 1
    total, right = hold, hold * towards
    open_pairs = []
    for other, cents in still:
        apart = above - other
        if weight := _WEIGHT[apart]:
            total += weight
            right += _ASKED[apart] + weight * cents
        else:
            open_pairs.append((apart, cents))
    now = min(max(right / total, low), high)
    if open_pairs:
        for apart, cents in open_pairs:
            weight, first, second = _OPEN_WEIGHT[apart], _FIRST[apart], _SECOND[apart]
            nearer = abs(now - cents - first) <= abs(now - cents - second) + _AS_NEAR_CENTS
            total += weight
            right += weight * ((first if nearer else second) + cents)
        now = min(max(right / total, low), high)
    return now


def _solved(matrix: Sequence[Sequence[float]], wanted: Sequence[float]) -> list[float]:
    """Symmetric equations by elimination; the diagonal outweighs the rest, so that no row need move."""
    rows, right = [list(row) for row in matrix], list(wanted)
    count = len(right)
    for pivot in range(count - 1):
        row, ours = rows[pivot], right[pivot]
        inverse = 1 / row[pivot]
        for below in range(pivot + 1, count):
            if row[below]:
                factor, under = row[below] * inverse, rows[below]
                for place in range(below, count):
                    under[place] -= factor * row[place]
                right[below] -= factor * ours
    for pivot in range(count - 1, -1, -1):
        row, value = rows[pivot], right[pivot]
        for place in range(pivot + 1, count):
            value -= row[place] * right[place]
        right[pivot] = value / row[pivot]
    return right


def _bounded(
    matrix: Sequence[Sequence[float]],
    wanted: Sequence[float],
    low: Sequence[float],
    high: Sequence[float],
    at_bound: list[int] | None = None,
) -> tuple[list[float], list[int] | None]:
    """Least squares between bounds: those free are solved, those at a bound must want to go beyond it.

    at_bound : -1 at the low one, 1 at the high one, as a similar sum had it; None where none was at one.
    Block principal pivoting; where that does not gain, the last of what is wrong changes alone, which ends
    for every such matrix. Source, from memory: Judice and Pires, Computers & Operations Research 21 (1994).
    """
    moving = range(len(wanted))
    if at_bound is None:
        solved = _solved(matrix, wanted)
        at_bound = [(solved[one] > high[one]) - (solved[one] < low[one]) for one in moving]
        if not any(at_bound):
            return solved, None
    fewest, patience = len(wanted) + 1, len(wanted)
    while True:
        solved = [high[one] if at_bound[one] > 0 else low[one] for one in moving]
        free = [one for one in moving if not at_bound[one]]
        bound = [one for one in moving if at_bound[one]]
        rest = [wanted[one] - sum(matrix[one][other] * solved[other] for other in bound) for one in free]
        for one, cents in zip(
            free, _solved([[matrix[one][other] for other in free] for one in free], rest), strict=True
        ):
            solved[one] = cents
        wrong = [  # each with where it is to be
            (one, (solved[one] > high[one]) - (solved[one] < low[one]))
            for one in free
            if not low[one] - _ROUNDING <= solved[one] <= high[one] + _ROUNDING
        ]
        for one in bound:  # above zero where it wants to go up
            slope = wanted[one] - sum(map(mul, matrix[one], solved))
            if at_bound[one] * slope < -_ROUNDING:
                wrong.append((one, 0))
        if not wrong:
            return [min(max(solved[one], low[one]), high[one]) for one in moving], at_bound
        if len(wrong) < fewest:
            fewest, patience = len(wrong), len(wanted)
        elif patience:
            patience -= 1
        else:
            wrong = [max(wrong)]
        for one, where in wrong:
            at_bound[one] = where


class _Note:
    """A note that sounds."""

    __slots__ = (
        "begun", "cents", "ended", "high", "key", "last_cents", "low", "master", "pinned", "settled_cents",
    )  # fmt: skip

    def __init__(self, key: int, begun: float, master: float) -> None:
        self.key = key
        self.begun = begun
        self.cents = self.master = master
        self.low = self.high = 0.0  # its bounds
        self.last_cents = 0.0  # where the last note of its class was, which ended at `ended`
        self.ended = NEVER
        self.settled_cents: float | None = None  # where it stood before it glided
        self.pinned = False  # what it shares a channel with would glide along


class ChordFollower:
    """What sounds, what it was given, and what new notes get.

    A voice is any number that names a note while it sounds. crowded : whether more sounded than are solved,
    so that the farthest were left out. Times are seconds of any clock that does not run backward.
    """

    def __init__(self, following: ChordFollowing, master_cents: Sequence[float] | None = None) -> None:
        """Nothing sounds yet.

        master_cents : for each of 128 keys, where it stands when it is alone; None for equal temperament,
            which then stays whatever comes. Raises BadValue as `retune` does.
        """
        self.following: Final = following
        self.crowded = False
        self._notes: dict[int, _Note] = {}
        self._now = NEVER
        self._others: Sequence[tuple[int, float]] = ()  # looked through already
        self.glides_at: float | None = None  # when `glide` has something to do; None at rest
        self._glided_at = self._settled_at = NEVER
        self._targets: dict[int, float] | None = None  # of what glides; None where they are to be found
        self._forget()
        self._master = [0.0] * KEYS
        self._stays_equal: Final = master_cents is None
        if master_cents is not None:
            self.retune(master_cents)

    def retune(self, master_cents: Sequence[float]) -> None:
        """Have another master from the next note on, unless it stays equal; what is held stays.

        Raises BadValue for a master that is no number, or not of 128 keys.
        """
        if len(master_cents) != KEYS or not all(map(isfinite, master_cents)):
            raise BadValue(f"a master needs a number of cents for each of {KEYS} keys")
        if not self._stays_equal:
            self._master = [float(cents) for cents in master_cents]

    @property
    def cautions(self) -> tuple[str, ...]:
        """What fell short, in sentences."""
        return (_CROWDED,) if self.crowded else ()

    @property
    def cents(self) -> dict[int, float]:
        """The offset of each voice that sounds."""
        return {voice: note.cents for voice, note in self._notes.items()}

    @property
    def sounding(self) -> tuple[tuple[int, float], ...]:
        """Key and offset of each note that sounds."""
        return tuple((note.key, note.cents) for note in self._notes.values())

    def __len__(self) -> int:
        """How many notes sound."""
        return len(self._notes)

    def forget(self) -> None:
        """Nothing sounds, and nothing is remembered: after a reset."""
        self._notes.clear()
        self._forget()
        self.glides_at = None

    def _forget(self) -> None:
        self._last_of_class = [(0.0, NEVER)] * 12
        self._last_of_key = [(0.0, NEVER)] * KEYS

    def hold(self, voice: int) -> None:
        """This note is not to move any more, however young it is, nor to glide."""
        if voice in self._notes:
            self._notes[voice].begun = NEVER
            self._notes[voice].pinned = True

    def join(self, voice: int, other: int) -> None:
        """A note sounds where another does that it cannot part from: it has its offset, and both stay."""
        if voice in self._notes and other in self._notes:
            self._notes[voice].cents = self._notes[other].cents
        self.hold(voice)
        self.hold(other)

    def stand(self, voice: int, key: int, cents: float, now: float) -> None:
        """A note begins where its key is tuned already and must stay: it is as if it had long been held."""
        self.release(voice, now)
        note = self._notes[voice] = self._new_note(key, now)
        note.cents = cents
        self.look_again()
        self.hold(voice)

    def release(self, voice: int, now: float) -> None:
        """A note ended, if it was there. Raises BadValue for time that runs backward."""
        self._pass_to(now)
        note = self._notes.pop(voice, None)
        if note is not None:
            self._last_of_class[note.key % 12] = self._last_of_key[note.key] = note.cents, now
            if self.following.glide_cents_per_second:
                self.look_again()

    def strike(
        self, struck: Iterable[tuple[int, int]], now: float, others: Sequence[tuple[int, float]] = ()
    ) -> dict[int, float]:
        """Notes begin at once; the offsets of these, and of all that move with them, by voice.

        struck : voice and key of each; a voice that sounds already ends before.
        others : key and offset of each tone that others sound.
        Raises BadValue for a key beyond 0 to 127, time that runs backward, or an offset that is no number.
        """
        self._pass_to(now)
        begin = tuple(struck)
        for _, key in begin:
            if not 0 <= key < KEYS:
                raise BadValue(f"key {key} is not on the keyboard; keys go from 0 to {KEYS - 1}")
        if others and others is not self._others:
            for key, cents in others:
                if not (0 <= key < KEYS and isfinite(cents)):
                    raise BadValue(f"a tone of others at key {key}, {cents:g} cents, is not one")
            self._others = tuple(others)
        for voice, _ in begin:
            if voice in self._notes:
                self.release(voice, now)
        if not begin:
            return {}
        if self.following.glide_cents_per_second:
            self._settled_at = now + self.following.settle_seconds
            self.look_again()
        if len(begin) == 1:
            return self._begin(begin, now, others)
        moved: dict[int, float] = {}
        begin = tuple(sorted(begin, key=_key))
        for start in range(0, len(begin), MOST_SOLVED):
            moved |= self._begin(begin[start : start + MOST_SOLVED], now, others)
        return moved

    def _begin(
        self, struck: Sequence[tuple[int, int]], now: float, others: Sequence[tuple[int, float]]
    ) -> dict[int, float]:
        """In few steps, since this is what a note waits for."""
        following, notes = self.following, self._notes
        for voice, key in struck:
            notes[voice] = self._new_note(key, now)
        youngest, lowest = now - following.settle_seconds - _SAME_MOMENT_SECONDS, KEYS
        moving: list[tuple[int, _Note]] = []
        still: list[tuple[int, float]] = []
        for voice, note in notes.items():
            if note.key < lowest:
                lowest = note.key
            if note.begun >= youngest:
                moving.append((voice, note))
            else:
                still.append((note.key, note.cents))
        if others:
            still += others
            lowest = min(lowest, min(others)[0])
        if len(moving) + len(still) > MOST_SOLVED:
            self.crowded = True
            moving, still = _nearest([key for _, key in struck], moving, still)

        classes = {key % 12 for key, _ in still}
        moved: dict[int, float] = {}
        solving: list[tuple[int, _Note]] = []
        for voice, note in moving:
            if note.key % 12 in classes:
                note.cents = moved[voice] = _octave_of(note, still)
            else:
                solving.append((voice, note))
        if moved and solving:
            still += [(note.key, note.cents) for voice, note in moving if voice in moved]
        if len(solving) == 1:
            ((voice, note),) = solving
            weight, towards = self._held_by(note, note.key == lowest, now)
            note.cents = moved[voice] = _least_of_one(note.key, still, weight, towards, note.low, note.high)
        elif solving:
            held = [self._held_by(note, note.key == lowest, now) for _, note in solving]
            found = least(
                [note.key for _, note in solving] + [key for key, _ in still], [cents for _, cents in still],
                [weight for weight, _ in held], [towards for _, towards in held],
                [note.low for _, note in solving], [note.high for _, note in solving],
            )  # fmt: skip
            for (voice, note), cents in zip(solving, found, strict=True):
                note.cents = moved[voice] = cents
        return moved

    def _held_by(self, note: _Note, is_lowest: bool, now: float) -> tuple[float, float]:
        """The weight of what holds a new note besides its neighbours, and where to."""
        following = self.following
        pull = (following.bass if is_lowest else following.pull) or _LEAST_PULL
        if note.ended == NEVER or not following.memory:
            return pull, note.master
        memory = following.memory * exp((note.ended - now) / following.fade_seconds)
        weight = pull + memory
        return weight, (pull * note.master + memory * note.last_cents) / weight

    def _pass_to(self, now: float) -> None:
        if not now >= self._now:
            raise BadValue(f"time runs backward, from {self._now:g} to {now:g} seconds")
        self._now = now

    def look_again(self) -> None:
        """What sounds has changed: held notes may have somewhere else to glide to."""
        if self.following.glide_cents_per_second:
            self._targets, self.glides_at = None, max(self._now, self._settled_at)

    def glide(self, now: float, others: Sequence[tuple[int, float]] = ()) -> dict[int, float]:
        """A step of what glides, once `glides_at` has come; the offsets of what moved, by voice.

        All arrive together, on the straight way: the sum grows less all along it.
        Raises BadValue for time that runs backward.
        """
        self._pass_to(now)
        if self.glides_at is None or now < self.glides_at:
            return {}
        if self._targets is None:
            self._targets = self._aims(others)
            self._glided_at = now
        moved: dict[int, float] = {}
        farthest = max(
            (abs(cents - self._notes[voice].cents) for voice, cents in self._targets.items()), default=0.0
        )
        # whoever comes late to a step does not make a jump of it
        seconds = min(now - self._glided_at, 2 * GLIDE_STEP_SECONDS)
        if seconds:
            share = min(1.0, self.following.glide_cents_per_second * seconds / farthest)
            for voice, cents in self._targets.items():
                note = self._notes[voice]
                note.cents = moved[voice] = note.cents + share * (cents - note.cents)
            farthest *= 1 - share
        self._glided_at = now
        self.glides_at = now + GLIDE_STEP_SECONDS if farthest > 0 else None
        return moved

    def _aims(self, others: Sequence[tuple[int, float]]) -> dict[int, float]:
        """Where held notes are to glide to."""
        following = self.following
        gliding = [(voice, note) for voice, note in self._notes.items() if not note.pinned]
        still = [*others, *((note.key, note.cents) for note in self._notes.values() if note.pinned)]
        if not gliding or len(gliding) + len(still) > MOST_SOLVED:
            return {}
        lowest = min(min(note.key for note in self._notes.values()), min(others, default=(KEYS, 0))[0])
        low, high, hold = [], [], []
        for _, note in gliding:
            if note.settled_cents is None:
                note.settled_cents = note.cents
            settled, most = note.settled_cents, following.glide_most_cents
            low.append(max(settled - most, min(note.low, settled)))
            high.append(min(settled + most, max(note.high, settled)))
            hold.append((following.bass if note.key == lowest else following.pull) or _LEAST_PULL)
        found = least(
            [note.key for _, note in gliding] + [key for key, _ in still], [cents for _, cents in still],
            hold, [note.master for _, note in gliding], low, high,
        )  # fmt: skip
        targets = {voice: cents for (voice, _), cents in zip(gliding, found, strict=True)}
        far = any(abs(cents - self._notes[voice].cents) > _AT_REST_CENTS for voice, cents in targets.items())
        return targets if far else {}

    def _new_note(self, key: int, now: float) -> _Note:
        following, master = self.following, self._master[key]
        note = _Note(key, now, master)
        note.last_cents, note.ended = self._last_of_class[key % 12]
        note.low, note.high = master - following.most_cents, master + following.most_cents
        last, ended = self._last_of_key[key]
        if now - ended < following.fade_seconds:  # the master may have gone farther than a step meanwhile
            note.low, note.high = (
                min(max(note.low, last - following.step_cents), note.high),
                max(min(note.high, last + following.step_cents), note.low),
            )
        return note


def _key(struck: tuple[int, int]) -> int:
    return struck[1]


def _octave_of(note: _Note, still: Sequence[tuple[int, float]]) -> float:
    """Where the nearest note of its class stands that is held, within its bounds; of two the lower."""
    same = [(abs(key - note.key), key, cents) for key, cents in still if not (key - note.key) % 12]
    return min(max(min(same)[2], note.low), note.high)


def _nearest(
    struck: list[int], moving: list[tuple[int, _Note]], still: list[tuple[int, float]]
) -> tuple[list[tuple[int, _Note]], list[tuple[int, float]]]:
    """Of those that move and those that stand still, the nearest to the keys that are struck, with these."""
    new = len(moving) - len(struck)

    def far(key: int) -> int:
        return min(abs(key - one) for one in struck)

    ranked = sorted(
        [(place < new, far(note.key), place) for place, (_, note) in enumerate(moving)]
        + [(True, far(key), len(moving) + place) for place, (key, _) in enumerate(still)]
    )[:MOST_SOLVED]
    chosen = sorted(place for *_, place in ranked)
    return (
        [moving[place] for place in chosen if place < len(moving)],
        [still[place - len(moving)] for place in chosen if place >= len(moving)],
    )
