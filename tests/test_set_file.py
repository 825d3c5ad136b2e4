"""A set's file changed row by row: what was asked for, and nothing else."""

import itertools
import tomllib

import pytest

from tonegen.errors import BadPreset, BadValue
from tonegen.presets.files import SHIPPED
from tonegen.presets.set_file import FieldFault, RowChange, change_set, stamp_of

DEMO = (SHIPPED / "sets" / "demo-dance-night.toml").read_text()


@pytest.fixture
def mine(own_folder):
    """The demonstration's set as the player's own: five songs, four receivers, comments throughout."""
    place = own_folder / "sets" / "mine.toml"
    place.parent.mkdir(parents=True)
    place.write_text(DEMO)
    return place


def changed(place, songs=None, receivers=None, **fields):
    rows = {name: rows for name, rows in (("songs", songs), ("receivers", receivers)) if rows is not None}
    return change_set(place.stem, stamp_of(place), fields, rows)


def order(*rows):
    return [RowChange(row, {}) for row in rows]


def test_songs_come_in_another_order_with_all_that_is_theirs(mine):
    before = tomllib.loads(DEMO)
    for rows in itertools.islice(itertools.permutations(range(5)), 1, None, 7):
        mine.write_text(DEMO)
        assert changed(mine, order(*rows)) == ()
        after = tomllib.loads(mine.read_text())
        assert after == {**before, "songs": [before["songs"][row] for row in rows]}
        assert sorted(filter(str.strip, mine.read_text().splitlines())) == sorted(
            filter(str.strip, DEMO.splitlines())
        )
        assert changed(mine, order(*(rows.index(row) for row in range(5)))) == ()
        assert tomllib.loads(mine.read_text()) == before


def test_the_comment_above_the_first_song_tells_of_all_and_stays_there(mine):
    assert changed(mine, order(4, 3, 2, 1, 0)) == ()
    head = "# key may stand at its relative major's fret as well.\n"
    assert f'{head}[[songs]]\nname = "Last Train but One"\n' in mine.read_text()


def test_nothing_asked_for_is_nothing_changed(mine):
    assert changed(mine, order(*range(5)), order(*range(4)), title=tomllib.loads(DEMO)["title"]) == ()
    assert mine.read_text() == DEMO


def test_a_field_is_changed_where_it_stands_and_its_comment_stays(mine):
    songs = order(*range(5))
    songs[2] = RowChange(2, {"fret": 10, "line": None})
    songs[0] = RowChange(0, {"line": "Intro with everybody", "grips": None})
    receivers = order(*range(4))
    receivers[1] = RowChange(1, {"from_keys": "C2 to G3"})
    assert changed(mine, songs, receivers, title="Invented: another night") == ()
    assert mine.read_text() == (
        DEMO.replace("fret = 8\n", "fret = 10\n")
        .replace('line = "Hold pedals A and B into the last verse"\n', "")
        .replace("Intro alone; organ from bar 9", "Intro with everybody")
        .replace('grips = ["E major 3-4-5-6-8-10"]\nline = "Intro', 'line = "Intro')
        .replace('"C2 to B3"  # a zone', '"C2 to G3"  # a zone')
        .replace(
            "Invented: a dance night with a steel, a piano, an organ, a pad and a synthesizer",
            "Invented: another night",
        )
    )


def test_a_song_comes_and_goes(mine):
    new = RowChange(None, {"name": "Kite in a Drawer", "key": "F"})
    assert changed(mine, [*order(0, 1), new, *order(3, 4)]) == ()
    names = [song["name"] for song in tomllib.loads(mine.read_text())["songs"]]
    assert names == [
        "Invented Waltz",
        "Borrowed Shoes",
        "Kite in a Drawer",
        "Paper Lantern",
        "Last Train but One",
    ]
    assert changed(mine, [*order(0, 1, 2, 3, 4), RowChange(None, {"name": "Encore"})]) == ()
    assert mine.read_text().endswith('\n\n[[songs]]\nname = "Encore"\n')


def test_what_is_wrong_is_said_at_its_field_and_nothing_is_written(mine):
    songs = order(*range(5))
    songs[1] = RowChange(1, {"key": "H"})
    songs[3] = RowChange(3, {"name": "Invented Waltz"})
    faults = changed(mine, songs)
    assert [one.field for one in faults] == ["songs[1].key", "songs[3].name"]
    assert faults[1] == FieldFault(
        "songs[3].name", "Invented Waltz is taken by row 1 already; give each its own"
    )
    assert [one.field for one in changed(mine, [RowChange(0, {"name": ""})])] == ["songs[0].name"]
    assert mine.read_text() == DEMO
    assert list(mine.parent.iterdir()) == [mine]


def test_a_file_that_was_changed_meanwhile_is_left_alone(mine):
    stamp = stamp_of(mine)
    mine.write_text(DEMO + "# by hand\n")
    with pytest.raises(BadValue, match="was changed meanwhile"):
        change_set("mine", stamp, {}, {"songs": order(1, 0)})
    assert mine.read_text() == DEMO + "# by hand\n"


def test_a_set_that_comes_with_the_program_is_left_alone():
    path = SHIPPED / "sets" / "demo-duo.toml"
    with pytest.raises(BadValue, match="comes with the program"):
        change_set("demo-duo", stamp_of(path), {}, {"songs": order(1, 0)})


@pytest.mark.parametrize("text", [
    'title = "Invented"\nsongs = [{ name = "One", key = "C" }, # first\n{ name = "Two", key = "D" }]\n',
    'title = """\n[[songs]]\n"""\n[[songs]]\nname = "One"\n[[songs]]\nname = "Two"\n',
])  # fmt: skip
def test_a_file_of_another_layout_is_left_alone(mine, text):
    mine.write_text(text)
    with pytest.raises(BadPreset, match="change it by hand"):
        changed(mine, order(1, 0))
    assert mine.read_text() == text


def test_line_ends_stay(mine):
    mine.write_bytes(DEMO.replace("\n", "\r\n").encode())
    assert changed(mine, order(4, 3, 2, 1, 0)) == ()
    assert mine.read_bytes().count(b"\n") == mine.read_bytes().count(b"\r\n") > 50


def test_a_comment_above_each_song_goes_with_it(mine):
    mine.write_text(
        'title = "Odd"\n\n# the first\n[[songs]]\nname = "One"\n\n# the second\n[[songs]]\nname = "Two"\n'
    )
    assert changed(mine, order(1, 0)) == ()
    assert mine.read_text() == (
        'title = "Odd"\n\n# the second\n[[songs]]\nname = "Two"\n\n# the first\n[[songs]]\nname = "One"\n'
    )
