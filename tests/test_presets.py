"""Preset files: what ships is right, what people write wrong is named, and no bytes do any harm."""

import os
import re
import shutil
import tomllib

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tonegen import presets
from tonegen.ear.lesson import lesson
from tonegen.errors import BadPreset
from tonegen.instrument import Instrument
from tonegen.keys.receivers import receiver
from tonegen.presets.files import KINDS, SHIPPED, title
from tonegen.presets.scenes import scene
from tonegen.presets.sets import set_list

LOADERS = {
    "instruments": presets.instrument,
    "temperaments": presets.temperament,
    "drops": presets.drop,
    "timbres": presets.timbre,
    "scenes": scene,
    "lessons": lesson,
    "receivers": receiver,
    "sets": set_list,
}
# Not presets.names(): that lists the presets of whoever runs the tests as well.
SHIPPED_PRESETS = [(kind, file.stem) for kind in LOADERS for file in sorted((SHIPPED / kind).glob("*.toml"))]
E9 = (SHIPPED / "instruments" / "e9-ten-string.toml").read_text()


@pytest.mark.parametrize(("kind", "name"), SHIPPED_PRESETS)
def test_every_shipped_preset_loads_and_says_where_it_is_from(kind, name):
    assert LOADERS[kind](name)
    fields = tomllib.loads((SHIPPED / kind / f"{name}.toml").read_text())
    assert fields["title"] == title(kind, name)
    assert fields["source"]


def test_every_kind_is_tried():
    assert set(LOADERS) == set(KINDS)


def test_the_instruments_that_players_bring():
    assert set(presets.names("instruments")) >= {
        "e9-ten-string", "c6-ten-string", "universal-twelve-string", "c6-lap-steel", "resonator-open-g",
        "banjo-open-g", "guitar-six-string", "bass-four-string", "bass-five-string",
    }  # fmt: skip
    assert len(presets.instrument("universal-twelve-string").strings) == 12


@pytest.mark.parametrize("name", presets.names("drops"))
def test_demo_drops_are_marked_as_invented_and_fit_the_e9(name):
    drop = presets.drop(name)
    assert drop.title.startswith("Invented")
    assert drop.checked_on(presets.instrument("e9-ten-string")) is drop


def test_own_presets_come_first(own_folder):
    """A player copies a file, changes it, and the program takes his."""
    folder = own_folder / "instruments"
    folder.mkdir(parents=True)
    (folder / "e9-ten-string.toml").write_text(E9.replace("Pedal steel, E9", "Mine"))
    (folder / "mine.toml").write_text(E9)

    assert presets.instrument("e9-ten-string").title.startswith("Mine")
    assert "mine" in presets.names("instruments")


def test_a_preset_can_be_a_file(tmp_path):
    file = tmp_path / "other.toml"
    file.write_text(E9)
    assert presets.instrument(str(file)).name == "other"
    with pytest.raises(BadPreset, match="no such file"):
        presets.instrument(str(tmp_path / "missing.toml"))


def test_a_name_that_is_not_there_gets_the_nearest():
    with pytest.raises(BadPreset, match="e9-ten-string"):
        presets.instrument("e9-ten-strings")
    with pytest.raises(BadPreset, match="tonegen list instruments"):
        presets.instrument("zzz")


FAULTS = [
    ('root = "E"', 'root = "H"', r'root: "H" is not the name of a note'),
    ('{ open = "F#4", gauge', '{ open = "F#4x", gauge', r'strings\[0\].open: "F#4x" is not a note name'),
    ("gauge_inches = 0.013", "gauge_inches = true", r"strings\[0\].gauge_inches: expected"),
    ("gauge_inches = 0.013", "gauge_inches = nan", r"strings\[0\].gauge_inches"),
    ("gauge_inches = 0.013", "gauge_inches = 0.013, core_inches = 0.02", r"core_inches must be less"),
    ('place = "pedal 1"', 'colour = "red"', r'changes\[0\]: there is no field "colour" here'),
    ('name = "B"', 'name = "A"', r'changes\[1\].name: "A" is listed twice'),
    ('name = "B"\nplace', 'nam = "B"\nplace', r'changes\[1\]: .*field "nam'),
    (
        "moves = { 5 = +2, 10 = +2 }",
        "moves = { 5 = +2, 11 = +2 }",
        r'changes\[0\].moves.11: "11" is not a string',
    ),
    ("moves = { 5 = +2, 10 = +2 }", "moves = { 5 = +2, 05 = +2 }", r"changes\[0\]: string 5 is listed twice"),
    ("moves = { 5 = +2, 10 = +2 }", "moves = { 5 = 2.5 }", r"changes\[0\].moves.*expected a whole number"),
    ('[["F", "E"]', '[["F", "Q"]', r'exclusive\[0\]: .* no change "Q"'),
    ('foot = ["A", "B"', 'foot = ["A", "Q"', r'body.foot: .* no change "Q"'),
    ('right_knee = ["DD"', 'right_knee = ["F", "DD"', r'body.right_knee: "F" is listed twice'),
    ('foot = ["A"', 'together = [["F", "Q"]]\nfoot = ["A"', r'body.together\[0\]: .* no change "Q"'),
    ('foot = ["A"', 'together = [["A", "F"]]\nfoot = ["A"', r"body.together\[0\]: A\+F are not all of"),
    ('left_knee = ["F"', 'knee = ["F"', r'body: there is no field "knee" here'),
    (
        'foot = ["A", "B", "C"]',
        'foot = ["B", "A", "C"]',
        r"grips\[8\].changes: B\+C cannot be held by \[body\]",
    ),
    ('foot = ["A", "B", "C"]', 'foot = ["A", "V"]', r'body.left_knee: "V" is listed twice'),
    (
        '["A", "V"]\nmoves = { 5 = +1, 10 = +1 }',
        '["A", "C"]\nmoves = { 5 = +3 }',
        r"splits\[0\].changes: A\+C cannot be held by \[body\]",
    ),
    ("2 = [[0.5, -100,", "2 = [[1.5, -100,", r"half_stops.[23]: travels must rise"),
    ("2 = [[0.5, -100,", "3 = [[0.5, -100,", r"half_stops.[23]: string 3 is not among the moves"),
    ('-100, "D4"', '-100, "C#4"', r"half_stops.2: string 2 passes no C#4 from D#4 to C#4"),
    ('-100, "D4"', '-100, "E4"', r"half_stops.2: string 2 passes no E4 from D#4 to C#4"),
    ('-100, "D4"', '-151, "D4"', r"half_stops.2: D4 is −100 cents above string 2 open; −151 is nearer"),
    ('-100, "D4"', '-100, "H4"', r'changes\[6\].half_stops.2: "H4" is not a note'),
    ('-100, "D4"', '-100, "D4", 3', r"half_stops"),
    ('-100, "D4"', "-100, 62", r"half_stops"),
    ('"V"]\nmoves = { 5 = +1', '"V"]\nmoves = { 1 = +1', r"splits\[0\].moves.1: change A"),
    ('3 = "3", 4 = "1", 5 = "5" }', '3 = "b3", 4 = "1", 5 = "5" }', r"string 3 plays G#4 .* not degree b3"),
    ('3 = "3", 4 = "1", 5 = "5" }', '3 = "77", 4 = "1", 5 = "5" }', r'"77" is not a degree'),
    ('root = "E"\n', 'root = "E"\nroot = "A"\n', r"a key is listed twice: .*line"),
    ('title = "Pedal', 'title "Pedal', r"line 1"),
    (
        'title = "Pedal steel',
        'titel = "Pedal steel',
        r'the field "title" is missing|there is no field "titel" here',
    ),
]


@pytest.mark.parametrize(("right", "wrong", "message"), FAULTS, ids=[wrong[:40] for _, wrong, _ in FAULTS])
def test_a_fault_is_one_line_with_file_and_field(tmp_path, right, wrong, message):
    assert right in E9
    file = tmp_path / "mine.toml"
    file.write_text(E9.replace(right, wrong, 1))

    with pytest.raises(BadPreset, match=message) as raised:
        presets.instrument(str(file))
    assert str(raised.value).startswith(f"{file}: ")
    assert "\n" not in str(raised.value)


TEMPERAMENT_FAULTS = [
    ('title = "x"', "exactly one of"),
    ('title = "x"\nratios = ["1:1"]', "twelve"),
    ('title = "x"\ncents = [0, 1, 2]', "twelve offsets are needed, C to B; there are 3"),
    (f'title = "x"\ncents = {[0] * 11 + [51]}', "B is 51 cents off; .*, 50 cents at most"),
    (f'title = "x"\ncents = {[*range(0, 1200, 100)]}', "C# is 100 cents off; .* 100 less 100 is"),
    (f'title = "x"\ncents = {[0] * 12}\nratios = ["1:1"]', "exactly one of: fifths, ratios, cents, points"),
    ('title = "x"\nclosing_fifth = "F-C"\n[fifths]\nC-G = "-1/4"', "name the comma"),
    ('title = "x"\ncomma = "syntonic"\n[fifths]\nC-G = "-1/4"', "closing_fifth"),
    ('title = "x"\ncomma = "syntonic"\nclosing_fifth = "F-C"\n[fifths]\nC-G = "1/0"', "fraction"),
    ('title = "x"\ncomma = "syntonic"\nclosing_fifth = "F-C"\n[fifths]\nC-G = "-5"', "fraction"),
    ('title = "x"\ncomma = "syntonic"\nclosing_fifth = "F-C"\n[fifths]\nC-F = "-1/4"', "not a fifth"),
    ('title = "x"\ncomma = "syntonic"\nclosing_fifth = "F-C"\n[fifths]\nC-G = "0"\n"B#-G" = "0"', "twice"),
    ('title = "x"\npoints = []', "name the instrument"),
    ('title = "x"\ninstrument = "i"\n' + "[[points]]\nstring = 1\noffset_cents = 1\n" * 2, "listed twice"),
    ('title = "x"\ninstrument = "i"\n[[points]]\nstring = 1\noffset_cents = inf', "offset_cents"),
    ('title = "x"\ninstrument = "i"\n[[points]]\nstring = 1\noffset_cents = nan', "offset_cents"),
]


@pytest.mark.parametrize(("text", "message"), TEMPERAMENT_FAULTS, ids=[m for _, m in TEMPERAMENT_FAULTS])
def test_a_wrong_temperament_is_named(tmp_path, text, message):
    file = tmp_path / "mine.toml"
    file.write_text(text)
    with pytest.raises(BadPreset, match=message):
        presets.temperament(str(file))


def test_a_file_that_cannot_be_read(tmp_path):
    folder = tmp_path / "folder.toml"
    folder.mkdir()
    with pytest.raises(BadPreset, match="is a folder"):
        presets.instrument(str(folder))
    big = tmp_path / "big.toml"
    big.write_bytes(b"#" * 2_000_000)
    with pytest.raises(BadPreset, match="larger than a megabyte"):
        presets.instrument(str(big))


def lead_nowhere(path):
    path.symlink_to("nowhere")


def lead_to_itself(path):
    path.symlink_to(path.name)


def say_nothing(path):
    path.write_text("")


def wait_for_a_writer(path):
    os.mkfifo(path)


SPOILT = [
    (lead_nowhere, "is a broken link"),
    (lead_to_itself, "cannot be read"),
    (os.mkdir, "is a folder"),
    (wait_for_a_writer, "is no file"),
    (say_nothing, r'the field ".*" is missing'),
]


@pytest.mark.parametrize(("spoil", "why"), SPOILT, ids=[spoil.__name__ for spoil, _ in SPOILT])
@pytest.mark.parametrize("kind", KINDS)
def test_a_bad_preset_costs_only_itself_and_its_name_is_said(tonegen, own_folder, kind, spoil, why):
    folder = own_folder / kind
    folder.mkdir(parents=True)
    spoil(folder / "spoilt.toml")
    listed = {one["name"]: one["title"] for one in tonegen(f"tonegen list {kind} --json").json[kind]}

    assert set(listed) == {"spoilt", *(name for each, name in SHIPPED_PRESETS if each == kind)}
    assert re.match(f"{folder / 'spoilt.toml'}: {why}", listed["spoilt"])
    with pytest.raises(BadPreset, match=why):
        LOADERS[kind]("spoilt")


def test_what_an_editor_leaves_beside_a_preset_is_none(own_folder):
    folder = own_folder / "instruments"
    folder.mkdir(parents=True)
    (folder / ".#mine.toml").symlink_to("player@stage.4711:1700000000")
    (folder / ".mine.toml").write_text(E9)
    (folder / "mine.toml~").write_text(E9)
    (folder / os.fsdecode(b"\xff.toml")).write_text(E9)

    assert presets.names("instruments") == tuple(sorted(n for k, n in SHIPPED_PRESETS if k == "instruments"))


@pytest.mark.parametrize(("spoil", "why"), SPOILT, ids=[spoil.__name__ for spoil, _ in SPOILT])
def test_his_own_is_never_replaced_by_the_one_that_ships_without_a_word(own_folder, spoil, why):
    folder = own_folder / "instruments"
    folder.mkdir(parents=True)
    spoil(folder / "e9-ten-string.toml")

    with pytest.raises(BadPreset, match=why):
        presets.instrument("e9-ten-string")


fuzz = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150, deadline=None)
shipped_bytes = st.sampled_from(
    [(kind, file.read_bytes()) for kind in LOADERS for file in sorted((SHIPPED / kind).glob("*.toml"))]
)


@fuzz
@given(st.sampled_from(sorted(LOADERS)), st.binary(max_size=300))
@example("instruments", b"\xff\xfe")
@example("drops", b"a=" + b"[" * 5000)
@example("temperaments", b'title = "x"\npoints = ' + b"9" * 5000)
@example("drops", b'title = "x"\ncents = {A = {4 = nan}}')
@example("instruments", b'title = "' + b"\\u0000" + b'"')
def test_any_bytes_give_a_preset_or_one_line(tmp_path, kind, data):
    loads_or_refuses(tmp_path, kind, data)


@fuzz
@given(shipped_bytes, st.data())
def test_a_damaged_preset_gives_a_preset_or_one_line(tmp_path, shipped, data):
    """A good file with a piece cut out, doubled or replaced, as happens in an editor."""
    kind, good = shipped
    start = data.draw(st.integers(0, len(good)))
    end = data.draw(st.integers(start, min(len(good), start + 60)))
    put = data.draw(st.sampled_from([b"", good[start:end] * 2, b"nan", b"-1", b'"x"', b"[]", b"99999999999"]))
    loads_or_refuses(tmp_path, kind, good[:start] + put + good[end:])


def loads_or_refuses(tmp_path, kind, data):
    file = tmp_path / "fuzz.toml"
    file.write_bytes(data)
    try:
        loaded, refusal = LOADERS[kind](str(file)), str(file)
    except BadPreset as error:
        loaded, refusal = error, str(error)
    assert loaded is not None
    assert refusal.startswith(str(file))
    assert "\n" not in refusal


def test_any_valid_instrument_can_be_played(tmp_path):
    shutil.copy(SHIPPED / "instruments" / "e9-ten-string.toml", tmp_path / "copy.toml")
    copy = presets.instrument(str(tmp_path / "copy.toml"))
    assert isinstance(copy, Instrument)
    assert copy.tuning_points() == presets.instrument("e9-ten-string").tuning_points()


@pytest.mark.parametrize("name", ["x" * 5000, "./" + "x" * 5000 + ".toml"])
def test_a_name_longer_than_a_file_s_can_be_is_refused(name):
    with pytest.raises(BadPreset, match=r"there is no temperament called|no such file"):
        presets.temperament(name)


def test_a_copy_is_his_to_change_comments_and_all(tonegen, own_folder):
    ended = tonegen("tonegen copy instrument e9-ten-string my-steel")
    copied = own_folder / "instruments" / "my-steel.toml"

    assert (ended.code, str(copied) in ended.out) == (0, True)
    assert copied.read_bytes() == (SHIPPED / "instruments" / "e9-ten-string.toml").read_bytes()
    copied.write_text(copied.read_text() + "# mine\n")
    told = tonegen.refused("tonegen copy instrument e9-ten-string my-steel")
    assert '"my-steel" already exists, and was left alone' in told
    assert copied.read_text().endswith("# mine\n")
    tonegen("tonegen copy instrument my-steel my-other")
    assert copied.with_name("my-other.toml").read_text().endswith("# mine\n")


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ("instrument e9-ten my-steel", 'there is no instrument called "e9-ten"; near it: e9-ten-string'),
        ("instrument e9-ten-string ../my-steel", "cannot be used as a name"),
        ("instrument e9-ten-string c6-ten-string", "comes with the program"),
        ("instrument ./e9.toml my-steel", "is a file; give a name"),
        ("steel e9-ten-string my-steel", "'steel' is not one of"),
        ("drop spoilt mine", "spoilt.toml: "),
    ],
)
def test_what_cannot_be_copied(tonegen, own_folder, asked, says):
    spoilt = own_folder / "drops" / "spoilt.toml"
    spoilt.parent.mkdir(parents=True)
    spoilt.write_text("title = ")

    assert says in tonegen.refused(f"tonegen copy {asked}")
    assert [path.name for path in own_folder.rglob("*.toml")] == ["spoilt.toml"]
