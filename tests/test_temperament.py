"""Historic temperaments against published cents, and the player's own."""

from fractions import Fraction

import pytest

from tests.tables import published, rows
from tonegen import presets
from tonegen.errors import BadValue
from tonegen.instrument import TuningPoint
from tonegen.interval import Ratio, beats_per_second
from tonegen.pitch import hz_from_key, parse_note, parse_pitch_class
from tonegen.temperament import (
    EQUAL,
    OwnTemperament,
    offsets_along_fifths,
    offsets_from_ratios,
    parse_fifth,
)

E9 = presets.instrument("e9-ten-string")
PRESET_OF = {
    "12-ET": "equal",
    "Pythagorean Eb-G#": "pythagorean",
    "Quarter-comma meantone Eb-G#": "quarter-comma-meantone",
    "Werckmeister III": "werckmeister-3",
    "Kirnberger III": "kirnberger-3",
    "Vallotti (1/6 PC)": "vallotti",
}


def has_preset(row):
    return row.temperament in PRESET_OF


def cents_above_c(name: str, note: str) -> float:
    pitch_class = parse_pitch_class(note)
    return pitch_class * 100 + presets.temperament(name).offset_of_key(pitch_class)


@pytest.mark.parametrize(
    "row", published("s2_temperaments", label=lambda r: f"{r.temperament} {r.note}", keep=has_preset)
)
def test_cents_of_each_note(row):
    assert cents_above_c(PRESET_OF[row.temperament], row.note) == pytest.approx(
        float(row.cents_above_C), rel=0, abs=1e-6
    )


@pytest.mark.parametrize("name", sorted(set(PRESET_OF.values())))
def test_twelve_cents_on_paper_are_the_temperament(name, tmp_path):
    """Published cents of each note, written into a file to a tenth of a cent as a table prints them."""
    there = {
        parse_pitch_class(row.note): round(float(row.cents_above_C) - 100 * parse_pitch_class(row.note), 1)
        for row in rows("s2_temperaments")
        if PRESET_OF.get(row.temperament) == name
    }
    paper = tmp_path / "paper.toml"
    paper.write_text(f'title = "On paper"\ncents = {[there[pitch_class] for pitch_class in range(12)]}\n')
    read, known = presets.temperament(str(paper)), presets.temperament(name)
    for root in (0, 2, 9):  # another root carries the table along
        for key in range(60, 72):
            offset = known.on(root).offset_of_key(key)
            assert read.on(root).offset_of_key(key) == pytest.approx(offset, abs=0.0501)


@pytest.mark.parametrize(
    "row",
    published(
        "s2_temperament_beats",
        label=lambda r: f"{r.temperament} {r.interval} {r.low_note}-{r.high_note}",
        keep=has_preset,
    ),
)
def test_beats_of_each_temperament(row):
    """With A4 at 440 Hz, as the table has it: the reference is moved so that A gets no offset."""
    temperament = presets.temperament(PRESET_OF[row.temperament])
    reference_hz = 440 * 2 ** (-temperament.offset_of_key(69) / 1200)
    low, high = (
        float(hz_from_key(key, temperament.offset_of_key(key), reference_hz))
        for key in (parse_note(row.low_note), parse_note(row.high_note))
    )
    ratio = {"M3": Ratio(5, 4), "m3": Ratio(6, 5), "P5": Ratio(3, 2), "P4": Ratio(4, 3)}[row.interval]

    assert (low, high) == pytest.approx((float(row.f_low_hz), float(row.f_high_hz)), rel=0, abs=1e-8)
    assert float(beats_per_second(low, high, ratio)) == pytest.approx(float(row.signed_beats_per_s), abs=1e-6)


def test_werckmeister_as_a_conductor_was_told_it():
    """J. Monzo quoting offsets from equal with A = 0 (tuning digest 1364, 1998), whole cents."""
    w3 = presets.temperament("werckmeister-3")
    for row in rows("s2_published_checks"):
        if row.id.startswith("W3R-"):
            note = row.what.split()[0]
            from_a = w3.offset_of_key(parse_pitch_class(note)) - w3.offset_of_key(9)
            assert round(from_a) == pytest.approx(float(row.published))


def test_vallotti_notes_that_its_source_prints_right():
    for row in rows("s2_published_checks"):
        if row.temperament.startswith("Vallotti"):
            ours = cents_above_c("vallotti", row.what.split()[0])
            assert ours == pytest.approx(float(row.recomputed), rel=0, abs=1e-6)


def test_young_is_vallotti_moved_up_a_fifth():
    """Definition: Vallotti's six fifths begin on F, Young's second temperament's on C."""
    young, vallotti = presets.temperament("young-2"), presets.temperament("vallotti")
    for key in range(12):
        moved = vallotti.offset_of_key((key - 7) % 12) - vallotti.offset_of_key(-7 % 12)
        assert young.offset_of_key(key) == pytest.approx(moved, rel=0, abs=1e-9)


@pytest.mark.parametrize("row", published("s2_just_scale", label=lambda r: r.note))
def test_five_limit_just(row):
    assert cents_above_c("five-limit-just", row.note) == pytest.approx(float(row.cents), rel=0, abs=1e-6)


@pytest.mark.parametrize("name", presets.names("temperaments"))
def test_a_root_has_no_offset_and_the_rest_moves_with_it(name):
    on_c, on_g = presets.temperament(name), presets.temperament(name).on(7)

    assert on_g.offset_of_key(67) == 0.0
    assert [on_g.offset_of_key(key + 7) for key in range(12)] == [on_c.offset_of_key(k) for k in range(12)]


def test_equal_temperament_is_equal_to_the_last_bit():
    assert presets.temperament("equal").offsets_cents == EQUAL.offsets_cents == (0.0,) * 12


def test_the_circle_of_fifths_closes():
    """Twelve fifths are seven octaves, however they are tempered."""
    offsets = offsets_along_fifths("syntonic", {place: Fraction(-1, 4) for place in range(8)}, 8)
    wolf = 700 + offsets[3] - offsets[8]
    others = [700 + offsets[(7 * (n + 1)) % 12] - offsets[7 * n % 12] for n in range(12) if n != 8]

    assert wolf + sum(others) == pytest.approx(7 * 1200)


def test_the_players_own_gives_each_tuning_point_its_offset():
    own = OwnTemperament("mine", E9.name, {TuningPoint(3): -9.0, TuningPoint(4, ("F",)): -25.0})

    assert own.offset_cents(E9, TuningPoint(3)) == -9.0
    assert own.offset_cents(E9, TuningPoint(4, ("F",))) == -25.0
    assert own.offset_cents(E9, TuningPoint(4)) == 0.0


def test_a_stop_of_several_changes_is_where_its_parts_leave_it():
    a, c, v = TuningPoint(5, ("A",)), TuningPoint(5, ("C",)), TuningPoint(5, ("V",))
    own = OwnTemperament("mine", E9.name, {TuningPoint(5): -2.0, a: -12.0, c: -8.0, v: -5.0})

    assert own.offset_cents(E9, TuningPoint(5, ("A", "C"))) == -8.0  # the higher raise wins
    assert own.offset_cents(E9, TuningPoint(5, ("A", "V"))) == -2 - 10 - 3  # a raise and a lower add


def test_the_players_own_belongs_to_its_instrument():
    own = OwnTemperament("mine", "another", {})
    with pytest.raises(BadValue, match="belongs to another"):
        own.offset_cents(E9, TuningPoint(1))
    with pytest.raises(BadValue, match="give --instrument another"):
        own.offset_of_key(60)


def test_what_is_no_temperament_is_refused():
    with pytest.raises(BadValue, match="not a fifth"):
        parse_fifth("C-F#")
    with pytest.raises(BadValue, match="takes what is left"):
        offsets_along_fifths("syntonic", {8: Fraction(-1, 4)}, 8)
    with pytest.raises(BadValue, match="not a comma"):
        offsets_along_fifths("ditonic", {}, 8)
    with pytest.raises(BadValue, match="twelve"):
        offsets_from_ratios([Ratio(1, 1)])
    with pytest.raises(BadValue, match="off semitone 1"):
        offsets_from_ratios([Ratio(1, 1)] * 12)
    with pytest.raises(BadValue, match="begins with 1:1"):
        offsets_from_ratios([Ratio(81, 80), *presets_ratios()[1:]])


def presets_ratios() -> list[Ratio]:
    texts = ("1:1", "16:15", "9:8", "6:5", "5:4", "4:3", "45:32", "3:2", "8:5", "5:3", "9:5", "15:8")
    return [Ratio.parse(text) for text in texts]
