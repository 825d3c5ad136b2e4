"""A song that a page retunes: a chord of E on two channels and a drum, invented."""

import io

import mido


def song():
    """The bytes of its file."""
    file = mido.MidiFile(type=1, ticks_per_beat=480)
    for channel, keys in ((0, (64, 68, 71)), (3, (52,)), (9, (36,))):
        track = mido.MidiTrack()
        track.append(mido.MetaMessage("lyrics", text="la"))
        track.append(mido.Message("program_change", channel=channel, program=16))
        for key in keys:
            track.append(mido.Message("note_on", channel=channel, note=key, velocity=80, time=10))
        for key in keys:
            track.append(mido.Message("note_off", channel=channel, note=key, time=200))
        file.tracks.append(track)
    return data_of(file)


def data_of(file):
    """The bytes of a MIDI file."""
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def cents_played(data, bend_range_semitones):
    """By key, how far each note is bent as it is struck, in cents: 14 bits, 8192 at rest (MIDI 1.0)."""
    bends, struck = {}, {}
    for message in mido.MidiFile(file=io.BytesIO(data)):
        if message.type == "pitchwheel":
            bends[message.channel] = message.pitch / 8192 * 100 * bend_range_semitones
        elif message.type == "note_on" and message.velocity:
            struck[message.note] = bends.get(message.channel, 0.0)
    return struck
