"""How long a new note waits for its offset while it follows the chord.

`pytest tests/benchmarks/test_chords_speed.py --benchmark-enable -s` prints percentiles; no time is asserted.
The time is the thread's own, so that others on the machine do not count.
"""

import random
import time

import numpy as np
import pytest

from tonegen.keys.chords import ChordFollower, ChordFollowing

C_MAJOR = (0, 2, 4, 5, 7, 9, 11)


def playing(notes, spread_seconds, classes, seed=1):
    """Chords of one to six notes over twelve that are held: `strike` or `release`, voice, key, time."""
    rng = random.Random(seed)
    now, held = 0.0, []
    for voice in range(notes):
        if voice % rng.choice((1, 3, 4, 6)) == 0:
            now += 0.3 * rng.random()
        now += spread_seconds
        if len(held) == 12:
            yield "release", held.pop(0), 0, now
        key = 12 * rng.randrange(3, 7) + rng.choice(classes)
        held.append(voice)
        yield "strike", voice, key, now


@pytest.mark.parametrize("classes", [C_MAJOR, tuple(range(12))], ids=["in C", "on all keys"])
@pytest.mark.parametrize("spread_seconds", [0.002, 0.04], ids=["spread chords", "one by one"])
def test_a_note_among_twelve(benchmark, spread_seconds, classes):
    count = 4000 if benchmark.enabled else 100
    took = []

    def play():
        follower = ChordFollower(ChordFollowing(), [0.0] * 128)
        for what, voice, key, now in playing(count, spread_seconds, classes):
            begun = time.thread_time()
            if what == "strike":
                follower.strike(((voice, key),), now)
                took.append(time.thread_time() - begun)
            else:
                follower.release(voice, now)
        return follower

    follower = benchmark.pedantic(play, rounds=1)
    low, high, worst = np.percentile(1e6 * np.array(took), (50, 99.9, 100))
    print(f"\nan event: median {low:.1f} us, 99.9th percentile {high:.1f} us, worst {worst:.1f} us")
    benchmark.extra_info.update({"median_us": low, "p999_us": high, "worst_us": worst})
    assert len(follower.cents) == 12
