"""The JACK MIDI loop: a player at 1,000 notes a second, the program in between, an ear behind it."""

import time
from collections import Counter

from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_temperament
from tonegen.presets import temperament

NOTES = 3000


def test_three_seconds_in_real_time_lose_nothing(ear, start, plays_at):
    made = plan(scale_of_temperament(temperament("quarter-comma-meantone")), receiver("mpe"))
    program = start(
        "keys", "through", "--virtual-in", "Keys", "--out", "Stage Piano", "--receiver", "mpe",
        "--temperament", "quarter-comma-meantone",
    )  # fmt: skip
    ear.take(len(made.messages))
    program.stderr.readline()
    keys = plays_at("Keys")
    begun = time.perf_counter()
    for note in range(NOTES):
        while time.perf_counter() < begun + note / 1000:
            time.sleep(0.0002)
        keys.send(bytes((0x90, 36 + note % 48, 80)))
        if note >= 8:
            keys.send(bytes((0x80, 36 + (note - 8) % 48, 64)))
    for note in range(NOTES - 8, NOTES):
        keys.send(bytes((0x80, 36 + note % 48, 64)))
    keys.send(b"\xb0\x07\x01")  # the last of all

    heard, _ = ear.until(b"\xb0\x07\x01")
    on = Counter(message[1] for message in heard if message[0] & 0xF0 == 0x90)
    off = Counter(message[1] for message in heard if message[0] & 0xF0 == 0x80)
    assert on == off == Counter(36 + note % 48 for note in range(NOTES))
    sounding = set()
    for message in heard:
        if message[0] & 0xF0 == 0x90:
            sounding.add((message[0] & 0x0F, message[1]))
        elif message[0] & 0xF0 == 0x80:
            sounding.remove((message[0] & 0x0F, message[1]))
    assert sounding == set()
    keys.close()
