"""Strings heard while they are played: soon, as well as from a file, and never another one."""

import numpy as np
import pytest
import soundfile

from tests.listen.strings import RATE, pink, plucked
from tests.listen.test_heard import E9, GUITAR_HZ, GUITARS, as_expected
from tonegen.listen.heard import HeardString, UnreadSound, heard
from tonegen.listen.live import LiveHearing
from tonegen.listen.spectrum import Expected

STRINGS = as_expected(E9.state())
BLOCK = 480  # 10 ms


def hum(frames):
    """Of the mains, 50 Hz with its multiples."""
    at = np.arange(frames) / RATE
    return sum(np.cos(2 * np.pi * 50 * number * at) / number for number in range(1, 8))


def in_a_room(string, seed, *, rest=1.0, seconds=2.0, off_cents=0.0):
    """A string picked after a rest, beside hum and pink noise."""
    sound, _ = plucked(
        seed, string.hz * 2 ** (off_cents / 1200), string.stiffness, seconds=seconds, noise_db=80,
        falls_cents=3.0, two_ways_cents=0.1,
    )  # fmt: skip
    whole = np.concatenate([np.zeros(round(rest * RATE)), sound])
    return whole + 0.003 * hum(len(whole)) + 0.002 * pink(seed, len(whole))


def told(hearing, sound, block=BLOCK):
    """What is heard, each with the moment at which it is told."""
    return [
        ((first + block) / hearing.sample_rate, each)
        for first in range(0, len(sound), block)
        for each in hearing.feed(sound[first : first + block])
    ]


@pytest.mark.parametrize("number", [2, 5, 10])
def test_soon_after_a_pick_its_string_is_told_and_after_a_second_what_a_file_would_say(number):
    string = STRINGS[number - 1]
    sound = in_a_room(string, number, off_cents=7.0)
    (early, first), (_, last) = told(LiveHearing(RATE, STRINGS), sound)
    assert early - 1.0 <= 0.25
    assert (first.whole, last.whole) == (False, True)
    assert first.heard.strings == last.heard.strings == (number,)
    assert first.heard.cents == pytest.approx(7, abs=4)  # it still falls
    begin = round((last.seconds + 0.06) * RATE)
    assert last.heard.cents == heard(sound[begin : begin + RATE], RATE, STRINGS).cents


@pytest.mark.long
def test_no_wrong_string_in_a_thousand_blocks():
    """Twenty seconds of each ten strings, hum and pink noise beneath: a pick each four seconds."""
    names, blocks = [], 0
    for string in STRINGS:
        hearing = LiveHearing(RATE, STRINGS)
        sound = np.concatenate([in_a_room(string, 50 * string.string + turn, seconds=3) for turn in range(2)])
        blocks += len(sound) // 2400
        names += [(string.string, each.heard) for _, each in told(hearing, sound, 2400)]
    assert blocks >= 1000
    assert len(names) >= 36
    assert {number for number, each in names if number not in getattr(each, "strings", (number,))} == set()


@pytest.mark.parametrize("path", GUITARS[::3], ids=lambda path: path.stem)
def test_real_strings(path):
    sound, _ = soundfile.read(path, 2 * RATE)
    strings = [Expected(number, "", hz, 5e-5) for number, hz in GUITAR_HZ.items()]
    found = told(LiveHearing(RATE, strings), np.concatenate([sound, np.zeros(RATE)]))
    assert {each.heard.strings for _, each in found if isinstance(each.heard, HeardString)} == {
        (int(path.stem[-1]),)
    }


def test_a_pick_ends_with_the_next():
    sound = in_a_room(STRINGS[3], 1, seconds=0.7, rest=0.5)
    found = told(LiveHearing(RATE, STRINGS), np.concatenate([sound, in_a_room(STRINGS[7], 2, rest=0.01)]))
    assert [each.heard.strings for _, each in found if each.whole] == [(4,), (8,)]
    assert found[1][1].rang_seconds == pytest.approx(0.62, abs=0.03)


def test_what_cannot_be_read_is_told_once_with_its_reason():
    sound = in_a_room(Expected(0, "G4", 391.995, 1e-5), 3)
    ((_, only),) = told(LiveHearing(RATE, STRINGS), sound)
    assert only.whole
    assert isinstance(only.heard, UnreadSound)


def test_tones_that_the_program_plays_are_taken_out():
    """E4 sounds on while B3 is picked: without knowing of it, it is something else that sounds."""
    string = STRINGS[4]
    sound = in_a_room(string, 4, off_cents=2.0)
    own = 329.628 * np.arange(1, 9)
    at = np.arange(len(sound)) / RATE
    both = sound + sum(
        0.1 * np.cos(2 * np.pi * hz * at + number) / number for number, hz in enumerate(own, 1)
    )
    hearing = LiveHearing(RATE, STRINGS)
    hearing.sounds(own)
    ((_, alone), (_, beside)) = (
        told(each, every)[-1] for each, every in ((LiveHearing(RATE, STRINGS), sound), (hearing, both))
    )
    assert beside.heard.strings == (5,)
    assert beside.heard.cents == pytest.approx(alone.heard.cents, abs=0.03)
    assert isinstance(told(LiveHearing(RATE, STRINGS), both)[-1][1].heard, UnreadSound)


def test_when_changes_move_other_notes_are_listened_for():
    hearing = LiveHearing(RATE, STRINGS)
    hearing.expect(as_expected(E9.state(("A", "B"))))
    found = told(hearing, in_a_room(as_expected(E9.state(("A", "B")))[4], 6))
    assert [each.heard.expected.name for _, each in found] == ["C#4", "C#4"]


def test_hours_take_no_more_memory_than_seconds():
    """What it keeps does not grow; twelve seconds in blocks of any size."""
    hearing = LiveHearing(RATE, STRINGS)
    sizes = []
    for turn in range(12):
        told(hearing, 1e-4 * pink(turn, RATE), 977)
        sizes.append(hearing.kept_frames)
    assert max(sizes) <= 6 * RATE
