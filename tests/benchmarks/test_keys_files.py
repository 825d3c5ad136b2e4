"""A million events of a MIDI file: seconds, and memory beside the file's size."""

import random
import tracemalloc

import pytest

from tonegen.keys.files import retune
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_temperament
from tonegen.presets import temperament

MEANTONE = scale_of_temperament(temperament("quarter-comma-meantone"))


def song(events):
    """Notes of one track, four bytes to the event."""
    fingers = random.Random(1)
    body = bytearray()
    for _ in range(events // 2):
        key = fingers.randrange(36, 84)
        body += bytes((fingers.randrange(10), 0x90, key, 64, fingers.randrange(10), 0x80, key, 64))
    body += b"\x00\xff\x2f\x00"
    return b"MThd\0\0\0\6\0\0\0\1\0\x60MTrk" + len(body).to_bytes(4, "big") + bytes(body)


@pytest.mark.parametrize("name", ["mpe", "twelve-channel-bend", "mts-octave"])
def test_a_million_events(benchmark, name):
    data = song(1_000_000 if benchmark.enabled else 10_000)
    made = plan(MEANTONE, receiver(name))

    retuned = benchmark.pedantic(retune, args=(data, made), rounds=1)

    assert retuned.notes == (len(data) - 26) // 8


def test_memory_grows_no_faster_than_the_file():
    """Ten times the file takes no more than ten times the memory."""
    made = plan(MEANTONE, receiver("mpe"))

    def peak_bytes(events):
        data = song(events)
        tracemalloc.start()
        retune(data, made)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return peak

    small, large = peak_bytes(3_000), peak_bytes(30_000)
    assert large < 10 * small
