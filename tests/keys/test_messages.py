"""Tuning messages against the standard's own tables, and each encoder against its parser."""

import contextlib
import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tonegen.errors import BadValue
from tonegen.keys import midi
from tonegen.pitch import key_from_hz, parse_note

PUBLISHED = Path(__file__).parent.parent / "published"
# Pure fifths with A at rest, C to B; arithmetic of 3:2.
PYTHAGOREAN = (-5.865, 7.820, -1.955, -11.730, 1.955, -7.820, 5.865, -3.910, 9.775, 0, -9.775, 3.910)
MEANTONE_WHOLE = (10, -14, 3, 20, -3, 14, -10, 7, -17, 0, 17, -7)


def rows(name):
    with (PUBLISHED / name).open(newline="") as file:
        return list(csv.DictReader(file))


def word(message):
    """The frequency word of a single note change for one key."""
    return message[8:11]


@pytest.mark.parametrize("row", rows("s8_midi_tuning_examples.csv"), ids=lambda row: row["bytes_hex"])
def test_frequency_words_of_the_standard(row):
    """Exact frequencies are matched; the standard's own misprints are marked in the file."""
    data = bytes.fromhex(row["bytes_hex"])
    read = midi.parse_tuning(b"\xf0\x7f\x7f\x08\x02\x00\x01\x45" + data + b"\xf7").offset_cents[0]

    if row["verdict"] == "reserved":
        assert np.isnan(read)
        return
    hz = float(row["exact_hz"])
    assert 440 * 2 ** (read / 1200) == pytest.approx(hz, rel=1e-9)
    key = int(np.floor(key_from_hz(hz) + 1e-6))
    sent = midi.note_changes([key], [(key_from_hz(hz) - key) * 100])
    assert word(sent.messages[0]) == data


@pytest.mark.parametrize(
    "row", rows("s8_midi_encode.csv"), ids=lambda row: f"{row['note']} {row['cents_offset']}"
)
def test_words_and_bends_of_a_steel_tuning(row):
    key, cents = parse_note(row["note"]), float(row["cents_offset"])

    tuned = midi.note_changes([key], [cents])
    assert word(tuned.messages[0]).hex(" ").upper() == row["mts_bytes"]
    assert -tuned.left_cents[0] == pytest.approx(float(row["mts_error_cents"]), abs=1e-5)

    bent = midi.bend(1, cents, 2)
    assert bent.messages[0][1:].hex(" ").upper() == row["bend_lsb_msb"]
    assert cents - float(bent.left_cents) == pytest.approx(float(row["bend_achieved_cents"]), abs=1e-6)


def test_whole_messages_of_the_standard():
    published = {
        row["what"]: bytes.fromhex(row["bytes_hex"]) for row in rows("midi_tuning_standard_messages.csv")
    }
    fifths_hz = [440 * 4 / 9, 440 * 2 / 3, 440, 440 * 3 / 2]
    keys = [55, 62, 69, 76]
    offsets = (key_from_hz(fifths_hz) - keys) * 100

    made = {
        "A4 and C4 at equal temperament, program 0": midi.note_changes([69, 60], [0, 0]),
        "violin in pure fifths from A = 440": midi.note_changes(keys, offsets),
        "Pythagorean octave on all channels, two bytes": midi.octave_tuning(PYTHAGOREAN),
        "Pythagorean octave on channel 1, one byte": midi.octave_tuning(PYTHAGOREAN, [1], two_bytes=False),
        "octave dump, bank 0, program 1": midi.octave_dump(
            MEANTONE_WHOLE, "MEANTONE 1/4", program=1, two_bytes=False
        ),
    }

    assert {what: encoded.messages[0] for what, encoded in made.items()} == published


def test_bulk_dump_of_equal_temperament():
    """408 bytes; the checksum by the general rule is 15 hex (recomputed from the standard's words)."""
    (dump,) = midi.key_dump([0] * 128, "EQUAL A440").messages

    assert len(dump) == 408
    assert dump[-2] == 0x15
    assert dump[6:22] == b"EQUAL A440      "
    assert dump[22 + 3 * 69 : 25 + 3 * 69] == bytes((69, 0, 0))


@pytest.mark.parametrize(
    ("cents", "semitones", "value"),
    # MPE 1.1: +7 semitones at 48 is 9387, +2 at 2 is 16383; the others follow from MIDI 1.0's 8192 steps.
    [(700, 48, 9387), (200, 2, 16383), (-200, 2, 0), (0, 1, 8192), (50, 48, 8277), (1.955, 12, 8205)],
)
def test_bend_values_of_the_standards(cents, semitones, value):
    assert midi.bend(16, cents, semitones).messages[0] == bytes((0xEF, value & 0x7F, value >> 7))


def test_registered_parameters_in_the_order_that_every_receiver_understands():
    hexed = " | ".join(message.hex(" ") for message in midi.fine_tuning(1, -13.7).messages)

    assert hexed == "b0 65 00 | b0 64 01 | b0 26 1e | b0 06 37 | b0 26 1e | b0 65 7f | b0 64 7f"
    assert [m.hex() for m in midi.mpe_zone(15)][:3] == ["b06500", "b06406", "b0060f"]
    assert [m.hex() for m in midi.mpe_zone(14, upper=True)][:3] == ["bf6500", "bf6406", "bf060e"]
    assert b"".join(midi.tuning_select(1, 5, 2)).hex() == (
        "b06500b06404b00602b0657fb0647fb06500b06403b00605b0657fb0647f"
    )


@given(st.integers(1, 16), st.integers(1, 96), st.data())
def test_bend_there_and_back_within_half_a_step(channel, semitones, data):
    cents = data.draw(st.floats(-100 * semitones, 100 * semitones * 8191 / 8192))

    encoded = midi.bend(channel, cents, semitones)
    read_channel, read_cents = midi.parse_bend(encoded.messages[0], semitones)

    assert read_channel == channel
    assert abs(read_cents - cents) <= 100 * semitones / 8192 / 2 * (1 + 1e-9)
    assert cents - read_cents == pytest.approx(float(encoded.left_cents), abs=1e-9)


@st.composite
def offsets(draw, size, lowest, highest):
    """All at random, and some of them wherever the search for trouble has them: it is slow with many."""
    cents = np.random.default_rng(draw(st.integers(0, 2**32))).uniform(lowest, highest, size)
    sought = st.dictionaries(st.integers(0, size - 1), st.floats(lowest, highest), max_size=8)
    for place, one in draw(sought).items():
        cents[place] = one
    return cents.tolist()


@pytest.mark.long
@given(offsets(128, -100, 100), st.integers(0, 127), st.one_of(st.none(), st.integers(0, 127)), st.text())
def test_dump_there_and_back_within_half_a_step(cents, program, bank, name):
    encoded = midi.key_dump(cents, name, program, bank)
    tuning = midi.parse_tuning(encoded.messages[0])

    assert (tuning.program, tuning.bank, tuning.checksum_agrees) == (program, bank or 0, True)
    assert tuning.form.sub_id == (0x01 if bank is None else 0x04)
    error = np.array(cents) - tuning.offset_cents
    assert np.abs(error[1:127]).max() <= 100 / 16384 / 2 * (1 + 1e-6)
    assert error == pytest.approx(encoded.left_cents, abs=1e-9)


@given(st.dictionaries(st.integers(1, 126), st.floats(-100, 100), min_size=1), st.booleans())
def test_note_changes_there_and_back(wanted, real_time):
    encoded = midi.note_changes(list(wanted), list(wanted.values()), 3, 9, real_time)
    tuning = midi.parse_tuning(encoded.messages[0])

    assert (tuning.real_time, tuning.program, tuning.bank, tuning.keys) == (real_time, 3, 9, tuple(wanted))
    assert tuning.offset_cents == pytest.approx(list(wanted.values()), abs=100 / 16384 / 2 * (1 + 1e-6))


def test_all_keys_take_two_messages_because_the_count_has_seven_bits():
    encoded = midi.note_changes(range(128), [1.0] * 128)
    keys = [midi.parse_tuning(message).keys for message in encoded.messages]

    assert keys == [tuple(range(127)), (127,)]


def test_increments_of_a_parameter():
    """RP-018: bend range moves by a semitone, fine tuning by the smallest step."""
    reader = midi.ParameterReader()

    def moved(number, up):
        for controller, value in ((101, 0), (100, number)):
            assert reader.read(controller, value) is None
        return reader.read(96 if up else 97, 0x7F)

    reader.read(101, 0), reader.read(100, midi.BEND_RANGE), reader.read(6, 2)
    assert moved(midi.BEND_RANGE, up=True) == (midi.BEND_RANGE, 3, 0)
    reader.read(100, midi.FINE_TUNING), reader.read(6, 64)
    assert moved(midi.FINE_TUNING, up=False) == (midi.FINE_TUNING, 63, 127)


@pytest.mark.parametrize("two_bytes", [False, True])
@given(data=st.data())
def test_octave_tuning_there_and_back_within_half_a_step(two_bytes, data):
    half_step = 100 / 8192 / 2 if two_bytes else 0.5
    limits = (-100, 99.98) if two_bytes else (-64, 63)
    cents = data.draw(offsets(12, *limits))
    channels = data.draw(st.sets(st.integers(1, 16), min_size=1))
    real_time = data.draw(st.booleans())

    sent = midi.parse_tuning(midi.octave_tuning(cents, channels, two_bytes, real_time).messages[0])
    dumped = midi.parse_tuning(midi.octave_dump(cents, "Stage", 7, 8, two_bytes).messages[0])

    assert (sent.channels, sent.real_time) == (tuple(sorted(channels)), real_time)
    assert (dumped.name, dumped.program, dumped.bank, dumped.checksum_agrees) == ("Stage", 7, 8, True)
    assert sent.offset_cents == dumped.offset_cents
    assert sent.offset_cents == pytest.approx(cents, abs=half_step * (1 + 1e-9))


@given(st.integers(1, 16), st.floats(-100, 99.98), st.integers(-64, 63), st.integers(1, 96))
def test_parameters_read_back(channel, cents, coarse, semitones):
    reader = midi.ParameterReader()

    def last(sequence):
        entries = [reader.read(message[1], message[2]) for message in sequence]
        return [entry for entry in entries if entry][-1]

    number, msb, lsb = last(midi.fine_tuning(channel, cents).messages)
    assert number == midi.FINE_TUNING
    assert midi.FINE_STEPS.cents(msb << 7 | lsb) == pytest.approx(cents, abs=100 / 8192 / 2 * (1 + 1e-9))
    assert last(midi.coarse_tuning(channel, coarse)) == (midi.COARSE_TUNING, 64 + coarse, 0)
    assert last(midi.bend_range(channel, semitones)) == (midi.BEND_RANGE, semitones, 0)
    assert reader.read(midi.DATA_MSB, 1) is None, "nothing stays selected"


def test_channel_tuning_of_more_than_a_semitone():
    encoded = midi.channel_tuning(2, -286.3)
    reader = midi.ParameterReader()
    read = [entry for m in encoded.messages if (entry := reader.read(m[1], m[2]))]
    coarse = next(entry for entry in read if entry[0] == midi.COARSE_TUNING)
    fine = read[-1]

    cents = 100 * (coarse[1] - 64) + float(midi.FINE_STEPS.cents(fine[1] << 7 | fine[2]))
    assert cents == pytest.approx(-286.3, abs=100 / 8192 / 2)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: midi.bend(1, 201, 2), "a bend range of 2 semitones cannot hold 201 cents; raise"),
        (lambda: midi.bend(17, 0, 2), "channel 17 does not exist"),
        (lambda: midi.bend(1, 0, 97), "bend range 97 is out of range"),
        (lambda: midi.bend(1, float("nan"), 2), "cannot hold nan cents"),
        (lambda: midi.fine_tuning(1, 101), "channel fine tuning cannot hold 101 cents"),
        (lambda: midi.octave_tuning([64.6] + [0] * 11, two_bytes=False), "use the two-byte form"),
        (lambda: midi.octave_tuning([0] * 11), "12 offsets was expected, 11 were given"),
        (lambda: midi.note_changes([128], [0]), "0 to 127"),
        (lambda: midi.note_changes([60], [0], real_time=False), "give a tuning bank"),
        (lambda: midi.key_dump([0] * 128, "", program=128), "tuning program 128 is out of range"),
        (lambda: midi.mpe_zone(16), "give 0 to 15"),
        (lambda: midi.parse_bend(b"\x90\x40\x40"), "is not a pitch bend"),
    ],
)
def test_what_a_message_cannot_hold_is_refused_in_one_line(call, says):
    with pytest.raises(BadValue) as raised:
        call()
    assert says in str(raised.value)
    assert "\n" not in str(raised.value)


@given(st.binary(max_size=420))
def test_any_bytes_are_read_or_refused(data):
    for message in (data, b"\xf0\x7e\x7f\x08" + data + b"\xf7"):
        with contextlib.suppress(BadValue):
            midi.parse_tuning(message)


@given(st.integers(0, 407), st.integers(0, 127))
def test_a_damaged_dump_is_told_by_its_checksum(at, byte):
    dump = bytearray(midi.key_dump(np.linspace(-50, 50, 128), "Stage").messages[0])
    if 5 <= at < 407 and dump[at] != byte:
        dump[at] = byte
        assert not midi.parse_tuning(bytes(dump)).checksum_agrees


def test_the_highest_word_is_never_sent_as_a_pitch():
    """MIDI Tuning Standard: 7F 7F 7F is reserved for "no change", so that the highest pitch is 7F 7F 7E."""
    assert word(midi.note_changes([127], [100.0]).messages[0]) == bytes.fromhex("7f7f7e")
    assert word(midi.note_changes([127], [99.99]).messages[0]) <= bytes.fromhex("7f7f7e")


def test_the_ends_of_an_octave_tuning_in_two_bytes():
    """MIDI Tuning Standard: 00 00 is 100 cents down, 40 00 none, 7F 7F 100 up, less one step."""
    offsets = [-100.0, 0.0, 99.988, 50.0, -50.0, *[0.0] * 7]
    values = midi.octave_tuning(offsets).messages[0][8:18]

    assert values == bytes.fromhex("0000 4000 7f7f 6000 2000")
