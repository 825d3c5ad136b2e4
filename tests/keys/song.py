"""Invented songs as MIDI files, written with mido."""

import io
import random

import mido

BEAT = 480
PEDAL, SOSTENUTO = 64, 66


def data_of(file):
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def song_of(*chords, beats=1, channel=0, spread_ticks=0):
    """Chords one after the other, common tones held; 480 ticks and half a second a beat."""
    track, sounding, wait = mido.MidiTrack(), set(), 0
    for chord in (*chords, ()):
        for key in sorted(sounding - set(chord)):
            track.append(mido.Message("note_off", channel=channel, note=key, time=wait))
            wait = 0
        for place, key in enumerate(sorted(set(chord) - sounding)):
            wait += spread_ticks if place else 0
            track.append(mido.Message("note_on", channel=channel, note=key, velocity=70, time=wait))
            wait = 0
        sounding, wait = set(chord), 480 * beats
    file = mido.MidiFile(ticks_per_beat=480)
    file.tracks.append(track)
    return data_of(file)


def messages(*timed):
    """A song of messages, each with its tick."""
    file, last = mido.MidiFile(ticks_per_beat=480), 0
    file.tracks.append(mido.MidiTrack())
    for tick, kind, fields in timed:
        file.tracks[0].append(mido.Message(kind, time=tick - last, **fields))
        last = tick
    return data_of(file)


# Invented: common chords in C, then the ring of thirds that no twelve pitches can play pure.
CADENCE = ((48, 64, 67, 72), (53, 65, 69, 72), (55, 62, 65, 71), (48, 64, 67, 72))
PUMP = ((60, 64, 67), (60, 64, 69), (62, 65, 69), (62, 67, 71)) * 4 + ((60, 64, 67),)


def on(tick, key, channel=0):
    return tick, "note_on", {"note": key, "velocity": 80, "channel": channel}


def off(tick, key, channel=0):
    return tick, "note_off", {"note": key, "channel": channel}


def turned(tick, controller, value, channel=0):
    return tick, "control_change", {"control": controller, "value": value, "channel": channel}


def dense_song(seed):
    rng = random.Random(seed)
    timed, down, tick = [], {}, 0
    for _ in range(300):
        tick += rng.choice((0, 0, 3, 40, 200))
        channel = rng.randrange(2)
        if down and rng.random() < 0.5:
            key, channel = down.popitem()[0]
            timed.append(off(tick, key, channel))
        elif rng.random() < 0.1:
            timed.append(turned(tick, rng.choice((PEDAL, SOSTENUTO)), rng.choice((0, 127)), channel))
        else:
            key = rng.randrange(40, 80)
            if (key, channel) not in down:
                down[key, channel] = True
                timed.append(on(tick, key, channel))
    return messages(*timed)
