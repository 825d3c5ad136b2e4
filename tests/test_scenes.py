"""Scenes and readings from files, and the player's own presets written back."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tonegen.drop import Drop
from tonegen.errors import BadPreset, BadValue, CannotWrite, TonegenError
from tonegen.instrument import TuningPoint
from tonegen.interval import Ratio
from tonegen.pitch import hz_from_key
from tonegen.presets import drop, instrument, names, temperament
from tonegen.presets.own import save_drop, save_temperament
from tonegen.presets.readings import readings
from tonegen.presets.scenes import scene
from tonegen.temperament import OwnTemperament
from tonegen.tempering.temper import temper

SHIPPED = Path(__file__).parent.parent / "presets" / "scenes"
E9 = instrument("e9-ten-string")
SCENE = (SHIPPED / "e9-dance-band.toml").read_bytes()


@pytest.mark.parametrize("name", ["e9-dance-band", "c6-swing-band"])
def test_shipped_scenes_are_plainly_invented(name):
    found = scene(name)

    assert name in names("scenes")
    assert "nvented" in found.title
    assert len(found.grips) >= 9
    assert found.band
    assert found.pins


def test_a_limit_of_its_own_wins_over_that_of_all():
    limits = [limit for limit in scene("e9-dance-band").limits if limit.point == TuningPoint(4)]

    assert [(limit.from_cents, limit.to_cents) for limit in limits] == [(0, 8)]


@pytest.mark.parametrize("stiff", [False, True])
def test_usual_offsets_come_out_of_the_dance_band(stiff):
    """Common practice, no source: what players of an E9 usually end with, relative to their E strings.

    String 6, a plain .020, is by far the stiffest, and with its stiffness comes out some cents lower.
    """
    offsets = temper(replace(scene("e9-dance-band"), stiff=stiff)).offsets_cents
    usual = {
        TuningPoint(6): (-20 if stiff else -16, -4), TuningPoint(3): (-16, -4), TuningPoint(5): (-4, 4),
        TuningPoint(5, ("A",)): (-18, -8), TuningPoint(6, ("B",)): (-6, 4),
        TuningPoint(8, ("F",)): (-31, -18), TuningPoint(8, ("E",)): (-18, -4),
    }  # fmt: skip
    for point, (low, high) in usual.items():
        assert low <= offsets[point] - offsets[TuningPoint(8)] <= high, point


def write(tmp_path, text, name="mine.toml"):
    file = tmp_path / name
    file.write_text(text, encoding="utf-8")
    return str(file)


HEAD = 'title = "t"\ninstrument = "e9-ten-string"\n'
GRIP = '[[grips]]\nname = "E major 3-4-5"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (HEAD, 'the field "grips" is missing'),
        (HEAD + "grips = []\n", "grips: "),
        (
            HEAD + '[[grips]]\nname = "E majr 3-4-5"\n',
            r'grips\[0\]: e9-ten-string has no grip "E majr 3-4-5"',
        ),
        (HEAD + GRIP + GRIP, 'grip "E major 3-4-5" is listed twice'),
        (HEAD + GRIP + "weight = 0\n", r"grips\[0\].weight"),
        (HEAD + GRIP + "frets = [99]\n", r"grips\[0\]: fret 99 is off the neck"),
        (HEAD + GRIP + 'changes = ["A"]\n', r"grips\[0\]: .* is a saved grip with its own changes"),
        (
            HEAD + '[[grips]]\nname = "x"\nroot = "E"\nroles = { 3 = "b3", 4 = "1" }\n',
            r"grips\[0\]: roles: string 3 plays G#4 in this state, which is not degree b3",
        ),
        (HEAD + '[[grips]]\nname = "x"\nroles = { 3 = "3", 4 = "1" }\n', "roles need the root"),
        (HEAD + '[[grips]]\nname = "x"\nstrings = [3, 14]\n', "no string 14"),
        (HEAD + '[[grips]]\nname = "x"\nstrings = [3]\n', "two strings or more"),
        (
            HEAD + '[[grips]]\nname = "x"\nroot = "E"\nchanges = ["Q"]\nroles = { 3 = "3", 4 = "1" }\n',
            'no change "Q"',
        ),
        (HEAD + GRIP + "[[pins]]\nstring = 11\ncents = 0\n", r"pins\[0\]: e9-ten-string has no string 11"),
        (HEAD + GRIP + '[[pins]]\nstring = 4\nchanges = ["E", "F"]\ncents = 0\n', "exclude each other"),
        (
            HEAD + GRIP + "[[pins]]\nstring = 4\ncents = 0\n[[pins]]\nstring = 4\ncents = 1\n",
            "pins contradict",
        ),
        (HEAD + GRIP + '[[band]]\nname = "b"\nplays = "loud"\n', r"band\[0\]: plays"),
        (HEAD + GRIP + '[[band]]\nname = "b"\nplays = "root"\ntemperament = "nosuch"\n', "nosuch"),
        (HEAD + GRIP + '[[band]]\nname = "b"\nplays = "root"\ngrips = ["none"]\n', 'has no grip "none"'),
        (HEAD + "reference_hz = 300\n" + GRIP, "reference_hz: reference pitch 300"),
        (HEAD + GRIP + "colour = 3\n", "colour"),
        (
            'title = "t"\ninstrument = "c6-ten-string"\ndrop = "demo-soft-cabinet"\n'
            '[[grips]]\nname = "C major 7-6-5"\n',
            'drop: c6-ten-string has no change "',
        ),
        ("title = 3", "title"),
    ],
)
def test_scenes_that_cannot_be_meant(tmp_path, text, says):
    file = write(tmp_path, text)
    with pytest.raises(BadPreset, match=says) as error:
        scene(file)
    assert "\n" not in str(error.value)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.one_of(
        st.binary(max_size=300),
        st.tuples(st.integers(0, 2000), st.binary(min_size=1, max_size=4)).map(
            lambda cut: SCENE[: cut[0]] + cut[1] + SCENE[cut[0] + len(cut[1]) :]
        ),
    )
)
def test_any_bytes_give_a_scene_or_that_one_error(tmp_path, text):
    file = tmp_path / "any.toml"
    file.write_bytes(text)
    try:
        found = scene(str(file))
    except TonegenError as error:
        refusal = str(error)
        assert "\n" not in refusal, refusal
    else:
        assert found.grips


def test_a_half_engaged_change(tmp_path):
    """The F lever half down leaves string 4 a quarter tone up: nearest to neither, so no role is claimed."""
    half = scene(
        write(
            tmp_path,
            HEAD + '[[grips]]\nname = "half"\nroot = "B"\nroles = { 5 = "1", 4 = "4" }\n'
            "ratios = { 4 = '4:3' }\ntravels = { F = 0.2 }\n",
        )
    )
    assert half.grips[0].state.travels == {"F": 0.2}
    assert half.grips[0].grip.ratios == (Ratio(1, 1), Ratio(4, 3))
    file = write(
        tmp_path,
        HEAD + '[[grips]]\nname = "half"\nroot = "B"\nroles = { 5 = "1", 4 = "4" }\ntravels = { F = 0.8 }\n',
    )
    with pytest.raises(BadPreset, match="string 4 is nearest to F4 in this state"):
        scene(file)


def own(offsets, name="my-e9"):
    return OwnTemperament(name, "e9-ten-string", offsets, "Mine")


OFFSETS = {TuningPoint(8): 3.0, TuningPoint(5, ("A",)): -12.34567, TuningPoint(5, ("A", "C")): -10.0}


def test_a_saved_temperament_is_read_back(own_folder):
    path = save_temperament(own(OFFSETS))

    assert path == own_folder / "temperaments" / "my-e9.toml"
    assert temperament("my-e9").offsets_cents == {
        TuningPoint(8): 3.0,
        TuningPoint(5, ("A",)): -12.3457,
        TuningPoint(5, ("A", "C")): -10.0,
    }
    assert not list(path.parent.glob(".*"))


def test_what_he_wrote_into_it_survives(own_folder):
    path = save_temperament(own(OFFSETS))
    text = path.read_text().replace(
        "[[points]]\nstring = 5", "# the one that hurts\n[[points]]\nstring = 5 # B, with A", 1
    )
    path.write_text("# for the summer\n" + text.replace('"Mine"', '"Outdoors, in the heat"'))
    save_temperament(own({TuningPoint(5, ("A",)): -13.0, TuningPoint(8): 4.0, TuningPoint(1): 1.0}))

    after = path.read_text()
    assert after.startswith("# for the summer\n")
    assert 'title = "Outdoors, in the heat"' in after
    assert "# the one that hurts\n[[points]]\nstring = 5 # B, with A\n" in after
    assert after.index("string = 8") < after.index("string = 5") < after.index("string = 1")
    assert temperament("my-e9").offsets_cents == {
        TuningPoint(8): 4.0,
        TuningPoint(5, ("A",)): -13.0,
        TuningPoint(5, ("A", "C")): -10.0,  # the new offsets say nothing of it
        TuningPoint(1): 1.0,
    }


@pytest.mark.parametrize("name", ["equal", "../evil", "", "a b", "none"])
def test_names_that_cannot_be_saved_under(name):
    with pytest.raises(BadValue, match=r"save under|cannot be used as a name"):
        save_temperament(own(OFFSETS, name))


def test_a_place_that_cannot_be_written(own_folder):
    own_folder.parent.mkdir(parents=True)
    own_folder.write_text("a file where the folder should be")
    with pytest.raises((CannotWrite, BadPreset), match="cannot be"):
        save_temperament(own(OFFSETS))


def test_a_broken_file_is_not_written_over(own_folder):
    path = save_temperament(own(OFFSETS))
    path.write_text("title = ")
    with pytest.raises(BadPreset, match="fix or remove it"):
        save_temperament(own(OFFSETS))
    assert path.read_text() == "title = "


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('title = "C6"\ninstrument = "c6-ten-string"\npoints = []\n', "c6-ten-string"),
        ('title = "Mine"\ncomma = "syntonic"\nfifths = {}\nclosing_fifth = "G#-Eb"\n', "to no instrument"),
        ('title = "Mine"\ninstrument = "e9-ten-string"\npoints = 3\n', "fix or remove it"),
        ('title = "Mine"\ninstrument = "e9-ten-string"\n[[points]]\nstring = "B"\n', "fix or remove it"),
        ("", "fix or remove it"),
    ],
)  # fmt: skip
def test_a_file_of_another_kind_is_not_written_over(own_folder, text, says):
    path = save_temperament(own(OFFSETS))
    path.write_text(text)
    with pytest.raises((BadValue, BadPreset), match=says) as refusal:
        save_temperament(own(OFFSETS))
    assert path.read_text() == text
    assert "\n" not in str(refusal.value)


def test_a_file_from_another_system_keeps_its_line_ends(own_folder):
    path = save_temperament(own(OFFSETS))
    path.write_bytes(b"\xef\xbb\xbf# mine\r\n" + path.read_bytes().replace(b"\n", b"\r\n"))
    save_temperament(own({TuningPoint(8): 5.0}))

    assert path.read_bytes().startswith(b"# mine\r\n")
    assert path.read_bytes().count(b"\r\n") == path.read_bytes().count(b"\n")
    assert temperament("my-e9").offsets_cents[TuningPoint(8)] == 5.0


def test_a_link_to_a_file_that_he_keeps_elsewhere(own_folder, tmp_path):
    kept = tmp_path / "kept.toml"
    path = save_temperament(own(OFFSETS))
    path.rename(kept)
    path.symlink_to(kept)
    save_temperament(own({TuningPoint(8): 5.0}))

    assert path.is_symlink()
    assert "offset_cents = 5.0" in kept.read_text()


@pytest.mark.parametrize("text", ['title = "d"\ncents = 3\n', 'title = "d"\n[cents]\nA = 3\n'])
def test_a_broken_drop_is_not_written_over(own_folder, text):
    path = save_drop(Drop("my-cabinet", {"A": {8: -2.3}}), E9)
    path.write_text(text)
    with pytest.raises(BadPreset, match="fix or remove it"):
        save_drop(Drop("my-cabinet", {"A": {8: -2.3}}), E9)
    assert path.read_text() == text


def test_a_drop_of_another_instrument_is_not_written_over():
    path = save_drop(Drop("my-cabinet", {"P5": {8: -2.3}}), instrument("c6-ten-string"))
    before = path.read_text()
    with pytest.raises(BadValue, match="already exists, for another instrument; left alone"):
        save_drop(Drop("my-cabinet", {"A": {8: -2.3}}), E9)
    assert path.read_text() == before


def test_a_saved_drop_is_read_back():
    save_drop(Drop("my-cabinet", {"A": {8: -2.3, 4: -1.9}}, title="Mine"), E9)

    assert drop("my-cabinet").cents == {"A": {8: -2.3, 4: -1.9}}


def csv(tmp_path, text):
    return Path(write(tmp_path, text, "readings.csv"))


def sided(beats: float) -> str:
    """A count and its side, as two columns."""
    return f"{abs(beats)},{'wide' if beats > 0 else 'narrow'}"


def test_readings_in_cents_hz_and_beats(tmp_path):
    """One pitch four ways, one reading missing, one twice, one by the tone below and one by that above."""
    hz = float(hz_from_key(64, -7.5))
    low, high = float(hz_from_key(60)), float(hz_from_key(71))
    file = csv(
        tmp_path,
        "# a wet afternoon\nstring,changes,cents,hz,beats,side,against,ratio\n"
        f"4,A+B,-7.5,,,,,\n4,B+A,,{hz},,,,\n4,,,,,,,\n"
        f"4,A + B,,,{sided(4 * hz - 5 * low)},C4,5:4\n4,A+B,,,{sided(2 * high - 3 * hz)},{high},3:2\n"
        f"4,A+B,,,{sided(hz - 329.0)},329,\n4,A+B,-7.5\n",
    )
    found = readings(file, E9)

    assert [each.changes for each in found] == [("A", "B")] * 6
    assert [each.cents for each in found] == pytest.approx([-7.5] * 6, abs=1e-9)
    assert found[-1].place == "line 9"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no readings"),
        ("string,changes,cents\n", "no readings"),
        (
            "string,changes,volts\n4,A,3\n",
            r'line 1: there is no column "volts"; the columns are string, changes',
        ),
        ("string,changes\n4,A\n", "line 1: give the column string, and one of"),
        ("string,cents,cents\n4,1,2\n", "twice"),
        (
            "string,changes,cents\n4,A,329.6\n",
            r"line 2: cents: 329.6 would be \+330 cents from E4 \(329.63 Hz\)",
        ),
        ("string,changes,hz\n4,A,-3.5\n", "line 2: hz: -3.5 is not above zero"),
        ("string,changes,hz\n4,A,3.5\n", "check the unit"),
        ("string,changes,cents\n4,A,flat\n", 'line 2: cents: "flat" is not a number'),
        ("string,changes,cents\n4,A,nan\n", "not a finite number"),
        ("string,changes,cents\nfour,A,1\n", '"four" is not the number of a string'),
        ("string,changes,cents\n14,A,1\n", "no string 14"),
        ("string,changes,cents\n4,Q,1\n", 'no change "Q"'),
        ("string,changes,cents\n4,F+E,1\n", "exclude each other"),
        ("string,changes,cents,hz\n4,A,1,329\n", "gives cents and hz"),
        ("string,changes,cents\n4,A,-1,5\n", "4 values under 3 columns; write decimals with a point"),
        (
            "string;changes;cents\n4;A;1,5\n",
            "line 1: columns stand between semicolons; save the table with commas",
        ),
        ("string\tchanges\tcents\n4\tA\t1\n", "line 1: columns stand between tabs"),
        ("string,changes,cents\n\u00b2,A,1\n", "is not the number of a string"),
        ("string,changes,cents\n\u0664,A,1\n", "is not the number of a string"),
        (f"string,changes,cents\n{'4' * 5000},A,1\n", "is not the number of a string"),
        ('string,changes,cents\n4,"A,B",1\n', r"joined by \+, such as A\+B"),
        ('string,changes,cents\n4,"A\nB",1\n', "line 2: cannot be split .* quotation marks"),
        ("string,changes,cents\n4,A,-1.5 cents\n", '"-1.5 cents" is not a number'),
        ("string,changes,beats\n4,A,1\n", "name the tone in the column against"),
        ("string,changes,beats,against\n4,A,1,H4\n", "H4"),
        ("string,changes,beats,against,ratio\n4,A,1,C4,5-4\n", "5-4"),
    ],
)
def test_readings_that_cannot_be_meant(tmp_path, text, says):
    with pytest.raises(BadPreset, match=says) as error:
        readings(csv(tmp_path, text), E9)
    assert "\n" not in str(error.value)


def test_readings_as_a_spreadsheet_writes_them(tmp_path):
    """With a byte order mark, the line ends of another system, spaces and a true minus."""
    file = tmp_path / "readings.csv"
    file.write_bytes("\ufeffString, Changes, Cents\r\n4, A, \u22122.5\r\n".encode())

    (reading,) = readings(file, E9)
    assert (reading.string, reading.changes, reading.cents) == (4, ("A",), -2.5)


@pytest.mark.parametrize("endless", ["/dev/zero"])
def test_readings_without_end(endless):
    with pytest.raises(BadValue, match="is a device or a pipe; give a file"):
        readings(Path(endless), E9)


def test_readings_that_are_not_there(tmp_path):
    with pytest.raises(BadValue, match="cannot be read: no such file"):
        readings(tmp_path / "none.csv", E9)


def test_files_that_a_scene_names_lie_beside_it(tmp_path, monkeypatch):
    """Whatever the folder that the player is in; a name is still looked for among his presets."""
    band = tmp_path / "band"
    band.mkdir()
    for kind, name in (
        ("instruments", "e9-ten-string"),
        ("drops", "demo-soft-cabinet"),
        ("temperaments", "vallotti"),
    ):
        (band / f"my-{kind}.toml").write_bytes((SHIPPED.parent / kind / f"{name}.toml").read_bytes())
    text = (
        'title = "t"\ninstrument = "./my-instruments.toml"\ndrop = "my-drops.toml"\n'
        'before = "../band/my-temperaments.toml"\n[[grips]]\nname = "E major 3-4-5"\n'
        '[[band]]\nname = "organ"\nplays = "notes"\ntemperament = "my-temperaments.toml"\n'
    )
    file = write(band, text)
    monkeypatch.chdir(tmp_path)
    found = scene(file)

    assert (found.instrument.name, found.drop.name) == ("my-instruments", "my-drops")
    assert (found.before.name, found.band[0].temperament.name) == ("my-temperaments", "my-temperaments")
    with pytest.raises(BadPreset, match=f"instrument: {band}/other.toml: no such file"):
        scene(write(band, text.replace("./my-instruments.toml", "other.toml")))


def test_context_goes_with_points_only(tmp_path):
    file = tmp_path / "mine.toml"
    text = (SHIPPED.parent / "temperaments" / "vallotti.toml").read_text()
    file.write_text(text.replace("comma =", 'drop = "none"\ncomma =', 1))
    with pytest.raises(BadPreset, match="drop, reference_hz and scene go with points"):
        temperament(str(file))
    file.write_text('title = "m"\ninstrument = "e9-ten-string"\nreference_hz = 4000\npoints = []\n')
    with pytest.raises(BadPreset, match="reference_hz"):
        temperament(str(file))
