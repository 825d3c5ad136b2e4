"""A set on paper: twenty-four songs on one page, large enough, nothing over edges or anything else."""

from itertools import combinations
from math import degrees, radians, tan

import pytest
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from tests.cli import CommandLine
from tests.test_card import boxes
from tonegen.paper.songs import NAME_POINTS, draw
from tonegen.setlist.records import SetList, SetSong
from tonegen.setlist.states import states

ARMS_LENGTH_MM = 700  # common practice, no source
PREFERRED_MINUTES_OF_ARC = 20  # ISO 9241-303, from memory
MM_PER_POINT = 25.4 / 72
LONG = "The $5 song about nearly everything that ever happened here and gladly went away"
LINE = (
    "Intro alone; organ from bar 9, then hold A and B to the end; wait for the nod from the drums, then again"
)


def evening(count, name="Sunday Ladder {}", line="", fret=10.0):
    songs = tuple(SetSong(name.format(at), at, at % 12, fret, line=line) for at in range(1, count + 1))
    return SetList("night", "Invented: a long evening", songs, instrument="e9-ten-string")


def pages_of(night, paper="a4"):
    return draw(night, states(night), paper)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(
    "night",
    [
        evening(24), evening(24, f"{LONG[:-3]}{{}}", LINE, 10.5), evening(3, line=LINE), evening(11, LONG),
        evening(24, "Qjpgy {}", "Qjpgy ÅÉ"),
    ],
)  # fmt: skip
def test_nothing_is_cut_off_or_lies_on_anything_else(night, paper):
    (page,) = pages_of(night, paper)
    width, height = page.get_size_inches()
    placed = boxes(page)
    for words, points, (left, bottom, right, top) in placed:
        assert left >= 0.2, words
        assert right <= width - 0.2, words
        assert bottom >= 0.2, words
        assert top <= height - 0.2, words
        assert points >= 8, words
    for (one, _, first), (other, _, second) in combinations(placed, 2):
        across = min(first[2], second[2]) - max(first[0], second[0])
        up = min(first[3], second[3]) - max(first[1], second[1])
        assert across <= 0.01 or up <= 0.03, (one, other)  # the air above letters may overlap


def test_twenty_four_names_are_as_large_as_reading_at_arm_s_length_wants():
    """By the measured height of a capital, not the nominal size of the type."""
    capital = TextPath((0, 0), "H", size=NAME_POINTS, prop=FontProperties(weight="bold")).get_extents().height
    angle = degrees(2 * (capital * MM_PER_POINT / 2) / ARMS_LENGTH_MM) * 60
    assert tan(radians(angle / 60)) == pytest.approx(capital * MM_PER_POINT / ARMS_LENGTH_MM, rel=1e-4)
    assert angle >= PREFERRED_MINUTES_OF_ARC
    (page,) = pages_of(evening(24, line=LINE))
    sizes = {words: points for words, points, _ in boxes(page)}
    assert all(sizes[f"Sunday Ladder {at}"] == NAME_POINTS for at in range(1, 25))


def test_each_song_has_number_key_fret_name_and_line():
    night = SetList(
        "night", "Invented", (SetSong("Waltz", 7, 10, 6.0, line="Slow"), SetSong("Polka", 12)),
        instrument="e9-ten-string",
    )  # fmt: skip
    (page,) = pages_of(night)
    assert [words for words, _, _ in boxes(page)] == [
        "Invented", "7", "Bb", "6", "Waltz", "Slow", "12", "Bb", "6", "Polka",
    ]  # fmt: skip
    without = SetList("night", "Invented", (SetSong("Waltz", 7, 10),))
    assert [words for words, _, _ in boxes(pages_of(without)[0])] == ["Invented", "7", "Bb", "Waltz"]


def test_more_songs_than_a_page_holds_go_on_another():
    first, second = pages_of(evening(40))
    assert "Sunday Ladder 24" in [words for words, _, _ in boxes(first)]
    words = [words for words, _, _ in boxes(second)]
    assert words[:2] == ["Invented: a long evening", "page 2"]
    assert "Sunday Ladder 40" in words


def test_print_writes_the_file_and_no_other_is_lost(monkeypatch, capsys, tmp_path):
    run = CommandLine(monkeypatch, capsys)
    out = tmp_path / "set.pdf"
    assert run(f"tonegen set print demo-dance-night --out {out}").out == f"Written: {out}\n"
    assert out.read_bytes().startswith(b"%PDF")
    assert "exists" in run.refused(f"tonegen set print demo-duo --out {out}")
    assert ".pdf" in run.refused(f"tonegen set print demo-duo --out {tmp_path / 'set.txt'}")
