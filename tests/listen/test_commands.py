"""tonegen listen, on files as a recorder writes them."""

import json

import numpy as np
import pytest
import soundfile

from tests.listen.strings import RATE, plucked
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
        ("--string 3 --changes A", "pick 1, at 0.33 s: "),
    ],
)
def test_a_drop_that_cannot_be_heard(tonegen, write, options, says):
    assert says in tonegen.refused(f"tonegen listen drop {write(picked((8, 0.0)))} {ON} {options}")
