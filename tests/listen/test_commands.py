"""tonegen listen, on files as a recorder writes them."""

import json

import numpy as np
import pytest
import soundfile

from tests.listen.strings import RATE, plucked
from tonegen.errors import BadValue
from tonegen.presets import instrument

E9 = instrument("e9-ten-string")
ON = "--instrument e9-ten-string"


def picked(*strings, apart=1.6):
    """Strings one after the other: (string, cents off equal temperament) or a sound of its own."""
    sound = [np.zeros(RATE // 3)]
    for seed, (number, cents) in enumerate(strings):
        string = E9.string(number)
        hz = 440 * 2 ** ((string.open_key - 69) / 12 + cents / 1200)
        rings, _ = plucked(seed, hz, string.stiffness, noise_db=45, seconds=apart - 0.2, lasts_seconds=3)
        rings[-2000:] *= np.linspace(1, 0, 2000)
        sound += [rings, np.zeros(round(0.2 * RATE))]
    whole = np.concatenate(sound)
    return whole + 1e-4 * np.random.default_rng(9).standard_normal(len(whole))


@pytest.fixture
def write(tmp_path):
    def written(sound, name="strings.wav", rate=RATE, subtype="PCM_24"):
        soundfile.write(tmp_path / name, sound, rate, subtype=subtype)
        return tmp_path / name

    return written


@pytest.mark.parametrize("name", ["strings.wav", "strings.flac"])
def test_each_pick_is_told(tonegen, write, name):
    path = write(picked((4, 5.0), (8, -3.0), (10, 11.0)), name)
    told = json.loads(tonegen(f"tonegen listen {path} {ON} --json").out)
    assert [each["strings"] for each in told["picks"]] == [[4], [8], [10]]
    assert [each["reads_cents"] for each in told["picks"]] == pytest.approx([5, -3, 11], abs=0.05)
    # Nobody measured the recorder's clock: 50 ppm are 0.087 cents.
    assert all(0.086 < each["error_cents"] < 0.2 for each in told["picks"])
    shown = tonegen(f"tonegen listen {path} {ON}").out
    assert "4       E4" in shown
    assert "+11.0" in shown


def test_what_it_reads_counts_from_equal_and_how_far_it_is_off_from_the_target(tonegen, write):
    """String 4 with the drop of pedal A in the soft cabinet, which its own table says."""
    from tonegen.presets import drop

    sag = drop("demo-soft-cabinet").of(4, {"A": 1.0})
    path = write(picked((4, sag + 2.0)))
    line = f"tonegen listen {path} {ON} --changes A --drop demo-soft-cabinet --string 4 --json"
    (pick,) = json.loads(tonegen(line).out)["picks"]
    assert pick["reads_cents"] == pytest.approx(sag + 2, abs=0.05)
    assert pick["off_cents"] == pytest.approx(2, abs=0.05)


def test_what_cannot_be_read_is_told_with_its_reason_beside_what_can(tonegen, write):
    both = picked((4, 0.0)) + picked((6, 0.0))
    path = write(np.concatenate([picked((8, 1.0)), both]))
    shown = tonegen(f"tonegen listen {path} {ON}").out
    assert "8       E3" in shown
    assert "more than one string rings; pick one and damp the others" in " ".join(shown.split())
    assert tonegen.refused(f"tonegen listen {write(both)} {ON}").startswith(
        f"{path}: no string can be read: more"
    )


def test_a_bar_that_moves_is_told_by_its_middle_and_its_swing(tonegen, write):
    """String 8 under a bar that swings by 9 cents, 5 times a second, about 4 cents above its note."""
    t = np.arange(RATE) / RATE
    turns = np.cumsum(164.814 * 2 ** ((4 + 9 * np.sin(2 * np.pi * 5 * t)) / 1200)) / RATE
    shaken = sum(np.cos(2 * np.pi * n * turns) / n for n in range(1, 9)) * np.exp(-t) / 20
    path = write(np.concatenate([picked((4, 0.0)), shaken, np.zeros(RATE // 2)]))
    _, bar = json.loads(tonegen(f"tonegen listen {path} {ON} --json").out)["picks"]
    assert (bar["strings"], bar["note"]) == ([8], "E3")
    assert bar["off_cents"] == pytest.approx(4, abs=0.5)
    assert (round(bar["swing_cents"]), round(bar["swing_hz"], 1)) == (9, 5.0)
    assert "the bar moves: string 8 swings 9 cents either way" in " ".join(
        tonegen(f"tonegen listen {path} {ON}").out.split()
    )


def test_of_two_channels_the_louder_is_heard(tonegen, write):
    """Out of phase with each other, they would be silence together."""
    sound = picked((5, 4.0))
    path = write(np.stack([0.9 * sound, -sound], axis=1))
    (pick,) = json.loads(tonegen(f"tonegen listen {path} {ON} --json").out)["picks"]
    assert (pick["strings"], round(pick["reads_cents"], 1)) == ([5], 4.0)


def test_a_drop_is_heard_and_its_readings_are_what_the_drop_command_reads(tonegen, write, tmp_path):
    """2.3 cents, by turns; the string itself creeps by a tenth of a cent between picks."""
    path = write(picked(*((8, 1.0 + 0.1 * turn - 2.3 * (turn % 2)) for turn in range(5))))
    out = tmp_path / "readings.csv"
    line = f"tonegen listen drop {path} {ON} --string 8 --changes A --out {out}"
    told = json.loads(tonegen(f"{line} --json").out)
    assert told["drop_cents"] == pytest.approx(-2.3, abs=0.05)
    assert len(told["moved_cents"]) == 4
    assert 0 < told["error_cents"] < 0.15
    assert tonegen.refused(line).startswith(str(out))
    assert "String 8 (E3) moves by −2.3" in tonegen(f"{line} --force").out
    fitted = json.loads(tonegen(f"tonegen drop {out} {ON} --json").out)
    assert [(each["string"], each["change"]) for each in fitted["drops"]] == [(8, "A")]
    assert fitted["drops"][0]["cents"] == pytest.approx(told["drop_cents"], abs=0.002)


def test_strings_are_learned_and_heard_so_from_then_on(tonegen, write, own_folder):
    """Strings 8 and 5 twice each, string 10 once."""
    path = write(picked((8, 1.0), (5, 2.0), (8, 1.0), (10, 0.0), (5, 2.0)))
    told = json.loads(tonegen(f"tonegen listen learn {path} {ON} --json").out)
    assert [each["string"] for each in told["strings"]] == [5, 8]
    assert all(0.086 < each["hz_error_cents"] < 0.2 for each in told["strings"])
    assert told["why_not"] == ["string 10 is picked once; pick it twice, so that it is sure"]
    assert "Every string in it is heard by what was learned" in " ".join(
        tonegen(f"tonegen listen learn {path} {ON}").out.split()
    )
    again = write(picked((8, 1.5), (10, 0.0)), "again.wav")
    picks = json.loads(tonegen(f"tonegen listen {again} {ON} --json").out)["picks"]
    assert [each["learned"] for each in picks] == [True, False]
    assert picks[0]["reads_cents"] == pytest.approx(1.5, abs=0.02)
    assert picks[0]["error_cents"] < 0.1
    only = write(picked((10, 0.0)), "only.wav")
    assert "no string can be learned: string 10 is picked once" in tonegen.refused(
        f"tonegen listen learn {only} {ON}"
    )


BAD = [
    ("", "x.wav", "No such file"),
    ("text", "x.wav", "not a sound that can be read"),
    ("empty", "x.wav", "not a sound that can be read"),
    ("silence", "x.wav", "nothing heard"),
    ("nan", "x.wav", "numbers in it that are none"),
    ("slow", "x.wav", "too low a rate"),
]


@pytest.mark.parametrize(("what", "name", "says"), BAD)
def test_a_file_that_is_no_sound(tonegen, tmp_path, what, name, says):
    path = tmp_path / name
    if what == "text":
        path.write_text("string,changes,cents\n")
    elif what == "empty":
        path.write_bytes(b"")
    elif what == "silence":
        soundfile.write(path, np.zeros(RATE), RATE)
    elif what == "nan":
        soundfile.write(path, np.where(np.arange(RATE) == 500, np.nan, 0.1), RATE, subtype="FLOAT")
    elif what == "slow":
        soundfile.write(path, np.zeros(4000), 4000)
    told = tonegen.refused(f"tonegen listen {path} {ON}")
    assert told.startswith(f"{path}: ")
    assert says.lower() in told.lower()


@pytest.mark.parametrize(("command", "rate", "where"), [("", 44100, "lower"), ("learn ", 52245, "higher")])
def test_a_wrong_rate_in_the_header_is_asked_about(tonegen, write, command, rate, where):
    """Recorded at 48000: 147 cents lower, or higher, than it was."""
    path = write(picked((4, 3.0), (8, -4.0)), rate=rate)
    says = tonegen.refused(f"tonegen listen {command}{path} {ON}")
    assert f"1.5 semitones {where} than the strings; is its sample rate right, {rate} Hz?" in says


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ("--string 11", "has no string 11"),
        ("--changes Q", 'no change "Q"'),
        ("--fret 99", "off the neck"),
    ],
)
def test_a_string_or_a_state_that_is_not_there(tonegen, write, options, says):
    assert says in tonegen.refused(f"tonegen listen {write(picked((4, 0.0)))} {ON} {options}")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ("--string 8", "say which changes are engaged"),
        ("--string 5 --changes A", "string 5 is moved by A itself"),
        ("--string 8 --changes A:0.5", "between its stops"),
        ("--string 8 --changes A", "one pick is heard"),
        ("--string 3 --changes A", "pick 1, at 0.3"),
    ],
)
def test_a_drop_that_cannot_be_heard(tonegen, write, options, says):
    assert says in tonegen.refused(f"tonegen listen drop {write(picked((8, 0.0)))} {ON} {options}")


def test_beats_of_a_grip_are_heard_beside_what_they_should_be(tonegen, write):
    """Strings 5 and 4, B3 and E4, a fourth: string 4 is 3 cents sharp. Only what rings together beats."""
    path = write(picked((5, 0.0), apart=2.6) + picked((4, 3.0), apart=2.6))
    line = f"tonegen listen beats {path} {ON} --grip 4,5"
    told = json.loads(tonegen(f"{line} --json").out)
    (picks,) = told["picks"]
    ((beat),) = picks["beats"]
    assert [each["off_cents"] for each in picks["strings"]] == pytest.approx([3, 0], abs=0.3)
    assert all(each["error_cents"] > 0.086 for each in picks["strings"])
    assert (beat["low"], beat["high"], beat["ratio"]) == (5, 4, "4:3")
    # Three cents of the third partial of E4, 989 Hz, are 1.71 a second.
    assert beat["beats_per_second"] - beat["wanted_beats_per_second"] == pytest.approx(1.71, abs=0.05)
    assert beat["side_known"]
    shown = tonegen(line).out
    assert "wide" in shown
    assert "Not learned yet, so less sure: string 4, 5" in shown


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ("--grip 4", "one string does not beat"),
        ("--grip 4,6", "string 6 is not heard; pick all strings of the grip together"),
        ("--grip 4,12", "12"),
    ],
)
def test_beats_that_cannot_be_heard(tonegen, write, options, says):
    path = write(picked((4, 0.0), apart=2.4))
    assert says in tonegen.refused(f"tonegen listen beats {path} {ON} {options}")


@pytest.mark.parametrize("options", ["", "x.wav --device 1", "drop --string 4 --changes A"])
def test_one_thing_is_listened_to(tonegen, options):
    assert "listen to one thing" in tonegen.refused(f"tonegen listen {options} {ON}")


@pytest.mark.parametrize(
    ("text", "keys"),
    [("C4", (60,)), ("C4-E4", (60, 61, 62, 63, 64)), ("C4,Bb3, C4", (60, 58)), ("C-1-D-1", (0, 1, 2))],
)
def test_keys_are_given_by_their_notes(text, keys):
    from tonegen.pitch import parse_keys

    assert parse_keys(text) == keys


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ("--out x --receiver mpe --save mine --keys C5-C4", "goes down"),
        ("--out x --receiver mpe --save mine --keys H4", '"H4"'),
        ("--out x --receiver mpe --save mpe", "comes with the program"),
        ("--out x --receiver nosuch --save mine", 'no receiver called "nosuch"'),
        ("--receiver mpe --save mine", "say where MIDI goes"),
        ("--out x --receiver osc-per-note --save mine", "--to HOST:PORT"),
        ("--to 127.0.0.1:9 --receiver osc-per-key --save mine", "it is sent no notes"),
    ],
)
def test_a_receiver_that_cannot_be_heard(tonegen, options, says):
    assert says in tonegen.refused(f"tonegen listen receiver {options}")


def test_what_is_heard_of_a_receiver_is_saved_as_one_of_the_players_own(own_folder):
    """Its comments stay; what was measured before is replaced."""
    from tonegen.keys.receivers import receiver
    from tonegen.presets.own import save_receiver

    heard = {"resolution_cents": 1.0, "rounding": "down", "own_cents": {"60": -2.5, "61": 1.25}}
    path = save_receiver("my-stage", "mts-octave", heard)
    assert "# " in path.read_text()
    mine = receiver("my-stage")
    assert (mine.resolution_cents, mine.rounding, mine.own_by_key) == (1.0, "down", {60: -2.5, 61: 1.25})
    with pytest.raises(BadValue, match="already exists"):
        save_receiver("my-stage", "mts-octave", heard)
    save_receiver("my-stage", "my-stage", heard | {"own_cents": {"62": 0.5}}, force=True)
    assert receiver("my-stage").own_by_key == {62: 0.5}
