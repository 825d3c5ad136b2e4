"""One song under several tunings of the keys: what each leaves of its intervals, and what it moves.

The *overlap* of an interval p:q is 1/(pq): how many of the partials of two like tones meet. It is counted for
octaves and consonances, times how long both notes sound; an error weighted so is of what is heard most.
Errors are from the just ratio, in cents, whatever their sign.
"""

import time
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.keys.chords import CONSONANCES, JUST, ChordFollower, deviation_cents
from tonegen.keys.leads import usual_following
from tonegen.keys.played import FollowingNotes, PlayedNotes, follow
from tonegen.keys.scale import KEYS
from tonegen.pitch import REFERENCE_HZ, hz_from_key, pitch_class_name
from tonegen.setlist.records import Lead
from tonegen.temperament import EQUAL, PitchClassTemperament

FAR_CENTS: Final = 10.0  # a consonance that is farther from just is counted
_FIFTHS, _THIRDS = (5, 7), (3, 4, 8, 9)  # each with what it is upside down


@dataclass(frozen=True, slots=True)
class SongPurity:
    """What a tuning leaves in a song.

    overlap_cents, beats_per_second : the mean error of octaves and consonances, weighted by their overlap.
    fifths_cents, thirds_cents : the mean error of these, with fourths and sixths; None where there are none.
    far_share : how much of the time of consonances is more than 10 cents off, 0 to 1; None likewise.
    worst_bass_cents : how far the lowest note is from its master at worst: equal temperament, or the song's.
    held_moved_cents, restruck_cents : the most that a note moved while it was held, and a key from one note
        to the next.
    event_seconds : what a new note waits for its offset, the median; None where offsets are fixed.
    """

    name: str
    overlap_cents: float
    beats_per_second: float
    fifths_cents: float | None
    thirds_cents: float | None
    far_share: float | None
    worst_bass_cents: float
    held_moved_cents: float = 0.0
    restruck_cents: float = 0.0
    event_seconds: float | None = None


@dataclass(frozen=True, slots=True)
class SongCompared:
    """A song under several tunings.

    fixed : equal temperament and others, each on its best root. twelve : the best twelve pitches there are.
    by_bass, by_song : keys that follow the chord, led by the bass at equal temperament, and by whichever of
    the fixed ones leaves least; None where that is equal temperament as well. cautions : what fell short of
    following, in sentences.
    """

    fixed: tuple[SongPurity, ...]
    twelve: SongPurity
    by_bass: SongPurity
    by_song: SongPurity | None
    cautions: tuple[str, ...]

    @property
    def rows(self) -> tuple[SongPurity, ...]:
        """All of them."""
        followed = (self.by_bass,) if self.by_song is None else (self.by_bass, self.by_song)
        return (*self.fixed, self.twelve, *followed)

    @property
    def purer(self) -> tuple[SongPurity, ...]:
        """Where following does not help: what leaves less than keys that follow the bass."""
        return tuple(row for row in self.fixed if row.overlap_cents < self.by_bass.overlap_cents)


@dataclass(frozen=True, slots=True)
class SongPairs(Frozen):
    """Notes of a song that sound together an octave or a consonance apart, wider by octaves or not.

    low, high : which notes. upper, lower : their just ratio. lowest : the notes that begin below all others.
    """

    low: NDArray[np.int64]
    high: NDArray[np.int64]
    seconds: NDArray[np.float64]
    semitones: NDArray[np.int64]
    upper: NDArray[np.float64]
    lower: NDArray[np.float64]
    asked_cents: NDArray[np.float64]
    lowest: NDArray[np.int64]

    @property
    def overlap(self) -> NDArray[np.float64]:
        """How much each pair counts."""
        return self.seconds / (self.upper * self.lower)


def pairs_of(played: PlayedNotes) -> SongPairs:
    """The pairs of all notes that are not left alone.

    Raises BadValue where no two notes make an octave or a consonance.
    """
    keys, ends = played.keys.tolist(), played.end_seconds.tolist()
    begins = played.begin_seconds.tolist()
    sounding: list[int] = []
    found: list[tuple[int, int, float]] = []
    lowest: list[int] = []
    for note in np.flatnonzero(~played.left_alone).tolist():
        now, end, key = begins[note], ends[note], keys[note]
        sounding = [other for other in sounding if ends[other] > now]
        for other in sounding:
            pair = (other, note) if keys[other] <= key else (note, other)
            found.append((*pair, min(end, ends[other]) - now))
        sounding.append(note)
        if key == min(keys[other] for other in sounding):
            lowest.append(note)
    low, high, seconds = (np.array(one) for one in zip(*found, strict=True)) if found else (np.empty(0),) * 3
    low, high = low.astype(np.int64), high.astype(np.int64)
    semitones = played.keys[high] - played.keys[low]
    counted = (semitones > 0) & np.isin(semitones % 12, (0, *CONSONANCES)) & (seconds > 0)
    if not counted.any():
        raise BadValue(
            "no two notes of the song sound an octave or a consonance together; nothing to compare"
        )
    low, high, seconds, semitones = low[counted], high[counted], seconds[counted], semitones[counted]
    ratios = [JUST[apart % 12].shifted(apart // 12) for apart in semitones.tolist()]
    return SongPairs(
        low, high, seconds, semitones % 12,
        np.array([ratio.upper for ratio in ratios], dtype=np.float64),
        np.array([ratio.lower for ratio in ratios], dtype=np.float64),
        np.array([deviation_cents(ratio) for ratio in ratios]),
        np.array(lowest, dtype=np.int64),
    )  # fmt: skip


def purity_of_song(
    name: str,
    played: PlayedNotes,
    pairs: SongPairs,
    note_cents: NDArray[np.float64],
    master_cents: NDArray[np.float64] | None = None,
    reference_hz: float = REFERENCE_HZ,
) -> SongPurity:
    """What these offsets of the notes leave.

    master_cents : where the bass is to be, for each key; at equal temperament if left out.
    """
    error = note_cents[pairs.high] - note_cents[pairs.low] - pairs.asked_cents
    hz = hz_from_key(played.keys, note_cents, reference_hz)
    beats = pairs.lower * hz[pairs.high] - pairs.upper * hz[pairs.low]

    def mean(values: NDArray[np.float64], kinds: tuple[int, ...]) -> float | None:
        of_kind = np.isin(pairs.semitones, kinds)
        return float(np.average(values[of_kind], weights=pairs.seconds[of_kind])) if of_kind.any() else None

    bass = note_cents[pairs.lowest]
    if master_cents is not None:
        bass = bass - master_cents[played.keys[pairs.lowest]]
    return SongPurity(
        name,
        float(np.average(abs(error), weights=pairs.overlap)),
        float(np.average(abs(beats), weights=pairs.overlap)),
        mean(abs(error), _FIFTHS),
        mean(abs(error), _THIRDS),
        mean(np.where(abs(error) > FAR_CENTS, 1.0, 0.0), CONSONANCES),
        float(abs(bass).max()),
    )


def best_root(
    temperament: PitchClassTemperament,
    played: PlayedNotes,
    pairs: SongPairs,
    reference_hz: float = REFERENCE_HZ,
) -> tuple[PitchClassTemperament, SongPurity]:
    """A temperament on the root where it leaves the least overlap-weighted error; the first of equals."""
    rows = []
    for root in range(12):
        one = temperament.on(root)
        name = one.name if temperament == EQUAL else f"{one.name} on {pitch_class_name(root)}"
        cents = _of_keys(one)[played.keys]
        rows.append((one, purity_of_song(name, played, pairs, cents, reference_hz=reference_hz)))
    return min(rows, key=lambda row: round(row[1].overlap_cents, 9))


def best_twelve(played: PlayedNotes, pairs: SongPairs) -> NDArray[np.float64]:
    """The twelve offsets, C to B, that leave the least overlap-weighted error in a song; their mean is 0.

    A linear program: offsets, and for each pair of pitch classes the error that they leave.
    """
    from scipy.optimize import linprog

    classes = np.stack((played.keys[pairs.high] % 12, played.keys[pairs.low] % 12), axis=1)
    alike, which = np.unique(classes, axis=0, return_inverse=True)
    weight = np.bincount(which.ravel(), pairs.overlap)
    asked = np.zeros(len(alike))
    asked[which.ravel()] = pairs.asked_cents
    apart = np.zeros((len(alike), 12))
    np.add.at(apart, (np.arange(len(alike)), alike[:, 0]), 1)
    np.add.at(apart, (np.arange(len(alike)), alike[:, 1]), -1)
    error = -np.eye(len(alike))
    solved = linprog(
        np.concatenate((np.zeros(12), weight)),
        A_ub=np.block([[apart, error], [-apart, error]]),
        b_ub=np.concatenate((asked, -asked)),
        bounds=[(None, None)] * 12 + [(0, None)] * len(alike),
    )
    offsets = np.array(solved.x[:12])
    used = np.unique(classes)
    offsets[np.setdiff1d(np.arange(12), used)] = offsets[used].mean()
    centred: NDArray[np.float64] = offsets - offsets.mean()
    return centred


def purity_following(
    name: str,
    played: PlayedNotes,
    pairs: SongPairs,
    lead: Lead,
    master: PitchClassTemperament = EQUAL,
    reference_hz: float = REFERENCE_HZ,
) -> tuple[SongPurity, FollowingNotes]:
    """What keys leave that follow the chord, and what each note was given."""
    keys = _of_keys(master)
    given = follow(played, ChordFollower(usual_following(lead), keys.tolist()), time.perf_counter)
    purity = purity_of_song(name, played, pairs, given.cents, keys, reference_hz)
    return replace(
        purity,
        held_moved_cents=given.held_moved_cents,
        restruck_cents=given.restruck_cents,
        event_seconds=float(np.median(given.event_seconds)),
    ), given


def compare_song(
    played: PlayedNotes,
    temperaments: Iterable[PitchClassTemperament],
    reference_hz: float = REFERENCE_HZ,
) -> SongCompared:
    """Equal temperament, each temperament on its best root, the best twelve pitches, and keys that follow.

    Raises BadValue as `pairs_of` does.
    """
    pairs = pairs_of(played)
    fixed = [
        best_root(one, played, pairs, reference_hz)
        for one in (EQUAL, *(one for one in temperaments if one != EQUAL))
    ]
    twelve = best_twelve(played, pairs)[played.keys % 12]
    best, row = min(fixed, key=lambda one: one[1].overlap_cents)
    by_bass, given = purity_following("follow bass", played, pairs, Lead.BASS, EQUAL, reference_hz)
    by_song = None
    if best != EQUAL:
        name = f"follow song, {row.name}"
        by_song, _ = purity_following(name, played, pairs, Lead.SONG, best, reference_hz)
    return SongCompared(
        tuple(purity for _, purity in fixed),
        purity_of_song("best twelve pitches", played, pairs, twelve, reference_hz=reference_hz),
        by_bass,
        by_song,
        given.cautions,
    )


def _of_keys(temperament: PitchClassTemperament) -> NDArray[np.float64]:
    return np.array([temperament.offset_of_key(key) for key in range(KEYS)])
