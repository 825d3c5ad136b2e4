"""The command line as a player and as a script use it."""

import math
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.measure import beat_of, hz_of
from tonegen import presets
from tonegen.cli import SUMMARIES, main
from tonegen.cli.ear import SUMMARIES as EAR_SUMMARIES
from tonegen.cli.keys import SUMMARIES as KEYS_SUMMARIES
from tonegen.cli.tunings import SUMMARIES as TUNINGS_SUMMARIES
from tonegen.instrument import TuningPoint

TONE_KEYS = {"name", "hz", "offset_cents", "drop_cents"}
INTERVAL_KEYS = {
    "low", "high", "low_hz", "high_hz", "ratio", "cents", "cents_from_just", "beats_per_second", "direction",
    "coincident_hz", "audible",
}  # fmt: skip


def test_an_interval_in_notes(tonegen):
    """Teki et al. (2012), Table 1: A3-C#4 beats 8.7 a second in equal temperament."""
    result = tonegen("tonegen beats --low A3 --high C#4 --ratio 5:4 --json").json

    assert result["reference_hz"] == 440
    (third,) = result["intervals"]
    assert set(third) >= INTERVAL_KEYS
    assert all(set(tone) >= TONE_KEYS for tone in result["tones"])
    assert third["beats_per_second"] == pytest.approx(8.7, abs=0.05)
    assert (third["low"], third["high"], third["ratio"], third["direction"], third["audible"]) == (
        "A3", "C#4", "5:4", "wide", "beats",
    )  # fmt: skip
    assert third["cents"] == pytest.approx(400)
    assert third["coincident_hz"] == pytest.approx(1104.365, abs=0.001)


def test_an_interval_in_hz(tonegen):
    (third,) = tonegen("tonegen beats --low 220 --high 275.6 --json").json["intervals"]

    assert third["ratio"] == "5:4"
    assert third["beats_per_second"] == pytest.approx(4 * 275.6 - 5 * 220)


def test_an_interval_in_cents(tonegen):
    (third,) = tonegen("tonegen beats --low A3 --high 386.3137138648c --json").json["intervals"]
    assert third["direction"] == "pure"


def test_a_grip_with_both_pedals_at_the_third_fret(tonegen):
    result = tonegen(
        "tonegen beats --instrument e9-ten-string --changes A,B --grip 3,4,5 --fret 3"
        " --temperament equal --json"
    ).json

    assert [(tone["string"], tone["changes"], tone["fret"], tone["name"]) for tone in result["tones"]] == [
        (3, ["B"], 3, "C5"), (4, [], 3, "G4"), (5, ["A"], 3, "E4"),
    ]  # fmt: skip
    fourth = next(it for it in result["intervals"] if it["ratio"] == "4:3")
    g4, c5 = 440 * 2 ** (-2 / 12), 440 * 2 ** (3 / 12)
    assert fourth["beats_per_second"] == pytest.approx(3 * c5 - 4 * g4)


def test_a_grip_against_the_bass(tonegen):
    result = tonegen(
        "tonegen beats --instrument e9-ten-string --changes A --grip 4,5 --against E2 --json"
    ).json

    assert {(it["low"], it["high"], it["ratio"]) for it in result["intervals"]} == {
        ("E2", "E4", "4:1"), ("E2", "C#4", "10:3"), ("C#4", "E4", "6:5"),
    }  # fmt: skip


def test_the_bass_stands_at_the_reference_and_at_equal_temperament(tonegen):
    """E2 is 440 * 2^(-29/12) Hz, times 442 / 440; the temperament is for the steel alone."""
    line = "tonegen beats --instrument e9-ten-string --grip 3,4 --against E2 --temperament five-limit-just"
    bass = tonegen(f"{line} --root C --reference 442 --json").json["tones"][0]

    assert (bass["name"], bass["offset_cents"]) == ("E2", 0)
    assert bass["hz"] == pytest.approx(442 * 2 ** (-29 / 12))


def test_drop_and_temperament_and_root_are_heard(tonegen):
    line = "tonegen beats --instrument e9-ten-string --changes A,B --grip 3,4,5 --json"
    plain = tonegen(line).json["tones"]
    dropped = tonegen(f"{line} --drop demo-soft-cabinet").json["tones"]
    just = tonegen(f"{line} --temperament five-limit-just --root A").json

    assert dropped[1]["drop_cents"] == -3.1
    assert 1200 * math.log2(dropped[1]["hz"] / plain[1]["hz"]) == pytest.approx(-3.1)
    assert {it["direction"] for it in just["intervals"]} == {"pure"}


def test_a_saved_grip_by_its_name(tonegen):
    result = tonegen("tonegen beats --instrument e9-ten-string --grip 'A major A+B 3-4-5' --json").json
    assert [tone["name"] for tone in result["tones"]] == ["A4", "E4", "C#4"]
    assert [tone["role"] for tone in result["tones"]] == ["1", "5", "3"]


def test_a_count_in_cents(tonegen):
    """0.7 beats a second on 5:4 above 220 Hz: the upper tone is 275 +- 0.175 Hz."""
    result = tonegen("tonegen count --beats 7 --seconds 10 --low A3 --ratio 5:4 --json").json

    assert result["ratio"] == "5:4"
    assert result["if_wide"]["high_hz"] == pytest.approx(275.175)
    assert result["if_narrow"]["high_hz"] == pytest.approx(274.825)
    assert result["if_wide"]["cents_from_just"] == pytest.approx(1200 * math.log2(275.175 / 275))


def test_a_chart_has_every_tuning_point_with_what_a_meter_reads(tonegen):
    result = tonegen(
        "tonegen chart --instrument e9-ten-string --temperament five-limit-just"
        " --drop demo-stiff-cabinet --json"
    ).json
    thirds = next(p for p in result["points"] if (p["string"], p["changes"]) == (3, []))

    assert thirds["note"] == "G#4"
    assert thirds["offset_cents"] == pytest.approx(-13.686, abs=0.001)
    assert thirds["hz"] == pytest.approx(440 * 2 ** (-5 / 12) * 5 / 4)  # a pure third above E4
    assert {"string": 4, "change": "A", "cents": -0.6} in result["drops"]


def test_a_chart_tells_the_saved_grips(tonegen):
    grips = tonegen("tonegen chart --instrument e9-ten-string --json").json["grips"]

    assert len(grips) >= 20
    assert next(grip for grip in grips if grip["name"] == "A major A+B 3-4-5") == {
        "name": "A major A+B 3-4-5", "changes": ["A", "B"], "root": "A",
        "strings": [
            {"string": 3, "role": "1", "ratio": "1:1"}, {"string": 4, "role": "5", "ratio": "3:2"},
            {"string": 5, "role": "3", "ratio": "5:4"},
        ],
    }  # fmt: skip


def test_a_chart_for_the_eye(tonegen):
    lines = tonegen("tonegen chart --instrument e9-ten-string --drop demo-stiff-cabinet").out.splitlines()

    heading = next(line for line in lines if "open" in line).split()
    assert heading == ["open", "A", "B", "C", "F", "E", "V", "DD:0.5", "DD", "G", "A+V"]
    assert any(line.split()[:4] == ["5", "B3", "C#4", "C#4"] for line in lines)
    assert "String 8 with F: −0.8 with A+F, −1.5 with A+B+F" in lines


@pytest.mark.parametrize("name", presets.names("instruments"))
def test_every_instrument_has_its_chart(tonegen, name):
    lines = tonegen(f"tonegen chart --instrument {name}").out.splitlines()
    instrument = presets.instrument(name)

    assert lines[0] == instrument.title
    for string in instrument.strings:
        assert any(
            line.split()[:2] == [str(string.number), instrument.note(TuningPoint(string.number))]
            for line in lines
        )


def test_a_string_pulled_far_above_its_pitch_gets_a_caution(tonegen):
    """At A4 = 500 Hz string 3 of an E9, a plain .011, would stand above its least strength at A."""
    safe = tonegen("tonegen chart --instrument e9-ten-string --json").json
    pulled = tonegen("tonegen chart --instrument e9-ten-string --reference 500 --json").json

    assert safe["cautions"] == []
    assert any(text.startswith("string 3 with B at 500.0 Hz is at") for text in pulled["cautions"])
    assert (
        "Caution: string 3 with B" in tonegen("tonegen chart --instrument e9-ten-string --reference 500").out
    )


def test_an_e9_third_string_gets_its_caution_by_the_standards_table(tonegen):
    """At A4 = 460 Hz: 7850 * (2 * 24.25 in * 460)^2 is 2521 MPa; ASTM A228 gives a .011 no less than 2634."""
    (caution,) = tonegen("tonegen chart --instrument e9-ten-string --reference 460 --json").json["cautions"]
    assert caution.startswith("string 3 with B at 460.0 Hz is at 96% of its wire's minimum strength")
    assert tonegen("tonegen chart --instrument e9-ten-string --reference 455 --json").json["cautions"] == []


def test_a_string_of_unknown_wire_gets_its_caution_by_pitch(tonegen, tmp_path):
    """More than a semitone above its usual pitch, whatever the gauge: 220 * 500 / 440 is 2.2 semitones."""
    (tmp_path / "plain.toml").write_text(
        'title = "x"\nsource = "invented"\nroot = "A"\nstrings = [{ open = "A3" }]\n'
    )
    line = f"tonegen chart --instrument {tmp_path}/plain.toml --json --reference"

    assert tonegen(f"{line} 460").json["cautions"] == []
    (caution,) = tonegen(f"{line} 500").json["cautions"]
    assert caution.startswith("string 1 open at 250.0 Hz is far above its usual pitch: it may break")


def test_a_string_too_high_for_its_length_gets_a_caution_at_its_own_pitch(tonegen, tmp_path):
    """By hand: B4 on 25.5 inches of steel is 7850 * (2 * 0.6477 * 493.9)^2 = 3.21 GPa; a .010 bears 2.63."""
    file = tmp_path / "high.toml"
    head = 'title = "x"\nroot = "A"\nscale_length_inches = 25.5\n'
    file.write_text(head + 'strings = [{ open = "B4", gauge_inches = 0.010 }]\n')
    (caution,) = tonegen(f"tonegen chart --instrument {file} --json").json["cautions"]
    assert caution.startswith("string 1 open at 493.9 Hz is at 122% of its wire's minimum strength")
    file.write_text(head + 'strings = [{ open = "G4", gauge_inches = 0.010 }]\n')
    assert tonegen(f"tonegen chart --instrument {file} --json").json["cautions"] == []


def test_a_grip_rendered_to_a_file(tonegen, tmp_path):
    """The file holds what the line says: its length, its rate, and the third's own beat."""
    path = tmp_path / "out.wav"
    result = tonegen(f"tonegen render {path} --hz 220,275.6 --seconds 20 --timbre harmonic --json").json
    sound, sample_rate = soundfile.read(path)

    assert (result["path"], result["seconds"], result["sample_rate"]) == (str(path), 20, 48000)
    assert len(sound) == 20 * sample_rate
    assert beat_of(sound[:, 0], sample_rate, 1101.2) == pytest.approx(2.4, abs=0.005)
    assert result["intervals"][0]["beats_per_second"] == pytest.approx(2.4)


def test_the_left_ear_hears_the_low_tone(tonegen, tmp_path):
    path = tmp_path / "out.flac"
    assert tonegen(f"tonegen render {path} --hz 275,220 --seconds 2 --timbre pure --split").code == 0
    sound, sample_rate = soundfile.read(path)

    assert hz_of(sound[:, 0], sample_rate, 220) == pytest.approx(220, abs=0.01)
    assert hz_of(sound[:, 1], sample_rate, 275) == pytest.approx(275, abs=0.01)


def test_only_the_beating_partials(tonegen, tmp_path):
    """Of 220 and 275.6 Hz as a third only 1100 and 1102.4 Hz are left."""
    path = tmp_path / "out.wav"
    assert tonegen(f"tonegen render {path} --hz 220,275.6 --seconds 4 --only-beating").code == 0
    sound, sample_rate = soundfile.read(path)
    spectrum = np.abs(np.fft.rfft(sound[:, 0] * np.hanning(len(sound))))
    hz = np.fft.rfftfreq(len(sound), 1 / sample_rate)
    far = spectrum[np.abs(hz - 1101.2) > 10].max()

    assert far < spectrum.max() / 1000


def test_an_existing_file_is_kept_unless_forced(tonegen, tmp_path):
    path = tmp_path / "out.wav"
    path.write_bytes(b"mine")

    assert "--force" in tonegen.refused(f"tonegen render {path} --hz 220 --seconds 1")
    assert path.read_bytes() == b"mine"
    assert tonegen(f"tonegen render {path} --hz 220 --seconds 1 --force").code == 0
    assert soundfile.info(path).frames == 48000


def test_the_list_has_every_kind(tonegen):
    result = tonegen("tonegen list --json").json
    assert {row["name"] for row in result["instruments"]} >= {"e9-ten-string", "c6-ten-string"}
    assert set(tonegen("tonegen list drops --json").json) == {"drops"}


def test_the_list_says_where_each_lies(tonegen, own_folder):
    mine = own_folder / "drops" / "my-cabinet.toml"
    mine.parent.mkdir(parents=True)
    mine.write_text('title = "Mine"\n[cents]\n')
    files = {row["name"]: Path(row["file"]) for row in tonegen("tonegen list drops --json").json["drops"]}

    assert files["my-cabinet"] == mine
    assert files["demo-soft-cabinet"].read_text().startswith("title")
    shadow = mine.with_name("demo-soft-cabinet.toml")
    shadow.write_bytes(mine.read_bytes())
    (found,) = [
        row for row in tonegen("tonegen list drops --json").json["drops"] if row["name"] == shadow.stem
    ]
    assert (found["file"], found["title"]) == (str(shadow), "Mine")
    lines = tonegen("tonegen list drops --files").out.splitlines()
    assert ["my-cabinet", str(mine)] in [line.split() for line in lines]


@pytest.mark.parametrize(("typed", "near"), [("bets", "beats"), ("keys pln", "plan"), ("ear trian", "train")])
def test_a_command_that_is_not_there_is_told_with_the_nearest(tonegen, typed, near):
    assert f"No such command '{typed.split()[-1]}'. Did you mean '{near}'?" in tonegen.refused(
        f"tonegen {typed}"
    )


def test_words_for_what_cannot_be_counted(tonegen):
    rough = tonegen("tonegen beats --low A4 --high C#5").out
    slow = tonegen("tonegen beats --low 220 --high 275.01").out
    pure = tonegen("tonegen beats --low 220 --high 275").out

    assert "17/s wide, rough" in rough
    assert "heard as roughness and cannot be counted" in rough
    assert "1 in 25 s wide, slow" in slow
    assert "slower than you can count" in slow
    assert " pure " in pure


BAD_INPUT = [
    ("beats --low H3 --high C4", '--low: "H3" is not a note name'),
    ("beats --low 0 --high C4", "--low: frequency 0 Hz"),
    ("beats --low=-5 --high C4", "--low: frequency -5 Hz"),
    ("beats --low nan --high C4", "--low: frequency nan Hz"),
    ("beats --low inf --high C4", "--low: frequency inf Hz"),
    (
        "beats --low A3 --high 1e308",
        "--high: frequency 1e+308 Hz is out of range; give 0.001 to 1,000,000 Hz",
    ),
    ("beats --low 1e-300 --high A3", "--low: frequency 1e-300 Hz is out of range"),
    ("beats --low A3 --high A3+99999999999", "--high: 1e+11 cents are more than ten octaves"),
    ("beats --low A3 --high 20000c", "--high: 20000 cents are more than ten octaves"),
    ("beats --low A3 --high C4 --drop demo-soft-cabinet", "--drop need an instrument"),
    ("beats --instrument ./ --grip 3,4", "./: is a folder"),
    ("beats --low A3", "an interval needs both --low and --high"),
    ("beats", "choose the tones in one way"),
    ("beats --low A3 --high C4 --hz 220", "choose the tones in one way"),
    ("beats --low A3 --high C4 --ratio 0:1", "--ratio: ratio 0:1"),
    ("beats --low A3 --high C4 --fret 3", "give --instrument"),
    ("beats --low 386c --high C4", "--low: "),
    ("beats --hz 220,275,330 --ratio 5:4", "two tones"),
    ("beats --hz ,", "--hz: give at least one frequency"),
    ("beats --instrument e9-ten-string", "--grip: say which strings"),
    ("beats --instrument e9-ten-string --grip 3,11", "no string 11; it has strings 1 to 10"),
    ("beats --instrument e9-ten-string --grip 3,3", "names a string twice"),
    ("beats --instrument e9-ten-string --grip nonsense", "no grip"),
    ("beats --instrument e9-ten-string --grip 3,4 --changes Q", 'no change "Q"'),
    ("beats --instrument e9-ten-string --grip 3,4 --changes E,F", "exclude each other"),
    ("beats --instrument e9-ten-string --grip 3,4 --changes A:2", "change A cannot travel 2"),
    ("beats --instrument e9-ten-string --grip 3,4 --changes A:x", "not a change with a travel"),
    ("beats --instrument e9-ten-string --grip 3,4 --changes A,A", "listed twice"),
    ("beats --instrument e9-ten-string --grip 3,4 --fret 25", "fret 25 is off the neck"),
    ("beats --instrument e9-ten-string --grip 3,4 --fret=-1", "fret -1 is off the neck"),
    ("beats --instrument e9-ten-string --grip 3,4 --fret nan", "fret nan is off the neck"),
    ("beats --instrument e9-ten-string --grip 3,4 --temperament nope", 'no temperament called "nope"'),
    ("beats --instrument banjo-open-g --grip 1,2 --drop demo-soft-cabinet", "does not fit"),
    ("beats --instrument banjo-open-g --grip 1,2 --drop=", 'no drop called ""'),
    ("beats --instrument ./gone.toml --grip 3,4", "./gone.toml: no such file"),
    ("beats --low A3 --high C4 --reference 700", "reference pitch 700 Hz is out of range"),
    ("beats --low A3 --high C4 --timbre glass", 'no timbre called "glass"'),
    ("beats --low A3 --high", "--high"),
    ("count --beats 7 --seconds 0 --low A3 --ratio 5:4", "--seconds: 0 is not a time"),
    ("count --beats -7 --seconds 1 --low A3 --ratio 5:4", "count from 0 upward"),
    ("count --beats nan --seconds 1 --low A3 --ratio 5:4", "not possible"),
    ("count --beats 7", "--seconds"),
    ("render out.wav --hz 220 --seconds 0", "0 seconds is not possible"),
    ("render out.wav --hz 220 --seconds nan", "nan seconds is not possible"),
    ("render out.wav --hz 220 --seconds 3600000", "3.6e+06 seconds is not possible"),
    ("render out.wav --hz 220 --seconds 80000", "more than a WAV file can hold"),
    ("render out.mp3 --hz 220", ".wav or .flac"),
    ("render /nowhere/out.wav --hz 220", "/nowhere"),
    ("render out.wav --hz 220 --level 0", "level"),
    ("render out.wav --hz 220 --sample-rate 0", "sample rate"),
    ("render out.wav --hz 220 --bits 12", "--bits"),
    (
        "render out.wav --hz 220,30000",
        "30000 Hz makes no sound: at a sample rate of 48000 Hz partials go up to 21600 Hz",
    ),
    ("render out.wav --hz 220 --only-beating", "--only-beating: no partials of these tones beat"),
    ("render out.wav --low A3 --high C#4 --timbre pure --only-beating", "a timbre that has the partials"),
    ("render out.wav --instrument e9-ten-string --grip 3,4 --changes E,F", "exclude each other"),
    ("play --hz 220 --seconds 0", "0 seconds is not possible"),
    ("play --hz 220 --seconds nan", "nan seconds is not possible"),
    ("play --hz 220 --block -1", "block of -1 frames"),
    ("play --hz 220 --level 3", "level 3 dBFS is out of range"),
    ("chart --instrument e9", 'no instrument called "e9"'),
    ("list scales", "scales"),
    ("beets", "beets"),
]


@pytest.mark.parametrize(("line", "message"), BAD_INPUT, ids=[line for line, _ in BAD_INPUT])
def test_bad_input_is_one_line_and_exit_code_2(tonegen, line, message):
    assert message in tonegen.refused(f"tonegen {line}")


GROUPS = {
    "tonegen": SUMMARIES,
    "tonegen ear": EAR_SUMMARIES,
    "tonegen keys": KEYS_SUMMARIES,
    "tonegen tunings": TUNINGS_SUMMARIES,
}
COMMANDS = [(group, name) for group, summaries in GROUPS.items() for name in summaries]


@pytest.mark.parametrize(("group", "name"), COMMANDS)
def test_every_command_opens_its_help_with_what_the_overview_says(tonegen, group, name):
    ended = tonegen(f"{group} {name} --help")
    assert ended.code == 0
    assert GROUPS[group][name] in " ".join(ended.out.split())


@pytest.mark.parametrize("group", GROUPS)
def test_an_overview_names_every_command(tonegen, group):
    for line in (group, f"{group} --help"):
        ended = tonegen(line)
        assert (ended.code, ended.err) == (0, "")
        overview = " ".join(ended.out.split())
        assert all(summary in overview for summary in GROUPS[group].values())


def loaded_by(arguments: str) -> set[str]:
    """The modules that a fresh interpreter has loaded after a command."""
    code = (
        f"import sys; sys.argv = {('tonegen ' + arguments).split()}\n"
        "from tonegen.cli import main\n"
        "try: main()\n"
        "except SystemExit: print('\\n' + ' '.join(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.splitlines()[-1].split())


HEAVY = {"scipy", "sounddevice", "soundfile", "matplotlib", "mido", "rtmidi", "pythonosc", "starlette"}


def test_a_closed_stdout_is_no_fault():
    """tonegen list >&-: there is nobody to print to, and nothing to say about it."""
    code = "import sys; sys.argv[1:] = ['list']; from tonegen.cli import main; main()"
    done = subprocess.run(
        ["bash", "-c", f'"{sys.executable}" -c "{code}" >&-'], capture_output=True, text=True
    )

    assert (done.returncode, done.stderr) == (0, "")


def test_a_fault_of_the_program_itself_leaves_the_interpreter_as_it_was(monkeypatch):
    """Python's word on what nobody can raise goes where it went before, also after a second call."""
    before = sys.unraisablehook, sys.stdout, sys.stderr
    monkeypatch.setattr(sys, "argv", ["tonegen", "list"])
    monkeypatch.setattr("tonegen.cli.tonegen.main", lambda **_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        main()

    assert (sys.unraisablehook, sys.stdout, sys.stderr) == before


def test_help_loads_no_arithmetic_and_beats_no_device():
    assert "numpy" not in loaded_by("--help")
    assert not HEAVY & loaded_by("beats --low A3 --high C#4 --json")


@pytest.mark.parametrize("name", ["OPENBLAS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"])
def test_numpy_is_told_to_run_on_one_thread_unless_you_say_otherwise(name):
    """The two libraries that numpy's wheels bring along or use: OpenBLAS, and Accelerate on macOS."""
    code = f"import os, tonegen.cli; print(os.environ[{name!r}])"
    for asked, told in [({}, "1"), ({name: "3"}, "3")]:
        others = {key: value for key, value in os.environ.items() if key != name}
        done = subprocess.run(
            [sys.executable, "-c", code], env=others | asked, capture_output=True, text=True
        )
        assert done.stdout.strip() == told


def test_the_shell_completes_presets(monkeypatch, tonegen):
    monkeypatch.setenv("_TONEGEN_COMPLETE", "bash_complete")
    monkeypatch.setenv("COMP_WORDS", "tonegen beats --instrument e9")
    monkeypatch.setenv("COMP_CWORD", "3")

    assert "e9-ten-string" in tonegen("tonegen").out


@pytest.mark.parametrize(
    ("instrument", "completed"),
    [("e9-ten-string", ["A 6 A+B 8-7-6-5"]), ("bass-four-string", []), ("nowhere", [])],
)
def test_the_shell_completes_the_grips_of_the_instrument(monkeypatch, tonegen, instrument, completed):
    monkeypatch.setenv("_TONEGEN_COMPLETE", "bash_complete")
    monkeypatch.setenv("COMP_WORDS", f"tonegen beats --instrument {instrument} --grip 'A 6'")
    monkeypatch.setenv("COMP_CWORD", "5")

    assert tonegen("tonegen").out.strip() == "\n".join(f"plain,{name}" for name in completed)
