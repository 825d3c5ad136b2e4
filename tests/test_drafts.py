"""A preset while it is typed: what is said of it, what goes along with a change, and which comments stay."""

import tomllib
from pathlib import Path

import pytest

from tonegen.errors import BadValue
from tonegen.presets.drafts import Sheet, faults_of, kind_of, way_to
from tonegen.presets.files import SHIPPED, files
from tonegen.presets.instruments import InstrumentFields, instrument_from
from tonegen.presets.rewriting import rewritten
from tonegen.presets.steel import (
    FROM_NOTHING,
    READS,
    add_to_steel,
    move_in_steel,
    put_notes,
    put_steel,
    take_out_of_steel,
)

E9 = (SHIPPED / "instruments" / "e9-ten-string.toml").read_text(encoding="utf-8")


def typed(text, *changes):
    """The text after these: (field, typed), or a function of the sheet."""
    for change in changes:
        sheet = Sheet(text)
        if callable(change):
            change(sheet)
        else:
            way = way_to(change[0])
            put_steel(sheet, way, kind_of(way, READS), change[1])
        text = sheet.written()
    return text


def faults(text):
    found = faults_of(text, Path("mine.toml"), InstrumentFields, instrument_from)
    return {fault.field: fault.why for fault in found}


def comments(text):
    return [line for line in text.splitlines() if line.lstrip().startswith("#")]


@pytest.mark.parametrize(
    ("kind", "name"),
    [(kind, name) for kind in ("instruments", "scenes", "drops", "receivers") for name in files(kind)],
)
def test_every_preset_that_comes_with_the_program_can_be_followed(kind, name):
    text = files(kind)[name].read_text(encoding="utf-8")
    assert Sheet(text).written() == text
    sheet = Sheet(text)
    sheet.values["title"] = "Mine"
    assert tomllib.loads(sheet.written()) == {**tomllib.loads(text), "title": "Mine"}
    assert comments(sheet.written()) == comments(text)


def test_one_figure_changes_one_line():
    text = typed(E9, ("strings[2].gauge_inches", "0.012"))
    assert text == E9.replace('"G#4", gauge_inches = 0.011', '"G#4", gauge_inches = 0.012')
    text = typed(E9, ("changes[1].moves.6", "2"))
    assert text == E9.replace("moves = { 3 = +1, 6 = +1 }", "moves = { 3 = +1, 6 = +2 }")


@pytest.mark.parametrize(
    "laid_out",
    [
        'strings = [{ open = "F#4" }, { open = "E4" }]  # all of them',
        'strings = [{ open = "F#4" },\n  { open = "E4" }]  # all of them',
        'strings = [\n  { open = "F#4" }, { open = "E4" },\n]  # all of them',
    ],
)
def test_strings_that_share_a_line_get_one_each_once_they_change(laid_out):
    text = f'# mine\n{laid_out}\n\n[[changes]]\nname = "A"\nmoves = {{ 2 = +1 }}\n'
    title = rewritten(text, {"title": "Mine", **tomllib.loads(text)}, {"strings": [0, 1], "changes": [0]})
    assert laid_out in title, "left alone where nothing of them is changed"
    changed = typed(text, ("strings[1].open", "D4"), lambda sheet: add_to_steel(sheet, ("strings",)))
    rows = '    { open = "F#4" },\n    { open = "D4" },\n    { open = "D4" },\n'
    assert changed == text.replace(laid_out, f"strings = [\n{rows}]  # all of them")


def test_a_string_beside_one_that_changes_stays_as_it_is_written():
    text = 'strings = [\n  {open="F#4"},  # the thin one\n  { open = "E4" },\n]\n'
    assert typed(text, ("strings[1].open", "D4")) == text.replace("E4", "D4")


def test_strings_that_share_a_line_with_a_comment_between_are_left_to_the_hand():
    text = 'strings = [\n  { open = "F#4" }, { open = "E4" }, # the first two\n  { open = "B3" },\n]\n'
    with pytest.raises(BadValue, match="laid out in another way"):
        typed(text, ("strings[1].open", "D4"))


def test_a_new_table_stands_before_the_rows_and_an_empty_one_goes():
    head = '# mine\ntitle = "T"\n\n# first\n[[changes]]\nname = "A"\n'
    values = tomllib.loads(head)
    text = rewritten(head, {**values, "body": {"foot": ["A"]}}, {"changes": [0]})
    assert text == '# mine\ntitle = "T"\n\n[body]\nfoot = ["A"]\n\n# first\n[[changes]]\nname = "A"\n'
    assert rewritten(text, values, {"changes": [0]}) == head
    drops = '# d\ntitle = "D"\n\n# by change\n[cents.A]\n1 = -0.9 # seen\n'
    there = {"title": "D", "cents": {"A": {"1": -1.0}, "B": {"2": -2}}}
    assert rewritten(drops, there, {}) == drops.replace("-0.9", "-1.0") + "\n[cents.B]\n2 = -2\n"


def test_a_steel_from_nothing_to_one_with_pedals():
    text = typed(
        FROM_NOTHING,
        lambda sheet: put_notes(sheet, "F#4 D#4 G#4 E4 B3"),
        lambda sheet: add_to_steel(sheet, ("changes",)),
        ("changes[0].moves.5", "+2"),
        lambda sheet: add_to_steel(sheet, ("changes",)),
        ("changes[1].place", "left knee up"),
        ("changes[1].name", "V"),
        ("changes[1].moves.5", "-2"),
        lambda sheet: add_to_steel(sheet, way_to("changes[1].half_stops.5")),
    )
    assert faults(text) == {}
    values = tomllib.loads(text)
    assert [string["open"] for string in values["strings"]] == ["F#4", "D#4", "G#4", "E4", "B3"]
    assert values["body"] == {"foot": ["A"], "left_knee": ["V"]}
    assert values["changes"][1] == {
        "name": "V",
        "place": "left knee up",
        "moves": {"5": -2},
        "half_stops": {"5": [[0.5, -100]]},
    }
    assert comments(text) == comments(FROM_NOTHING)


def test_a_string_that_goes_is_followed_in_all_that_is_said_of_strings():
    """Without string 1 of the E9 the A pedal raises strings 4 and 9."""
    values = tomllib.loads(typed(E9, lambda sheet: take_out_of_steel(sheet, ("strings", 0))))
    assert values["changes"][0]["moves"] == {"4": 2, "9": 2}
    assert values["changes"][6]["half_stops"] == {"1": [[0.5, -100, "D4"]], "8": [[0.5, 0]]}
    assert values["changes"][7]["moves"] == {}
    assert values["splits"][0]["moves"] == {"4": 1, "9": 1}
    assert values["grips"][1]["roles"] == {"2": "3", "3": "1", "4": "5"}


def test_a_string_that_moves_takes_along_what_is_said_of_it():
    text = typed(E9, lambda sheet: move_in_steel(sheet, ("strings", 0), 1))
    values = tomllib.loads(text)
    assert [string["open"] for string in values["strings"][:2]] == ["D#4", "F#4"]
    assert values["changes"][7]["moves"] == {"2": 1}
    assert faults(text) == {}
    assert typed(text, lambda sheet: move_in_steel(sheet, ("strings", 0), 1)) == E9


def test_another_name_of_a_pedal_is_followed_and_one_that_is_taken_is_refused():
    values = tomllib.loads(typed(E9, ("changes[0].name", "P1")))
    assert values["body"]["foot"] == ["P1", "B", "C"]
    assert values["splits"][0]["changes"] == ["P1", "V"]
    assert ["P1", "B"] in [grip.get("changes") for grip in values["grips"]]
    assert faults(typed(E9, ("changes[0].name", "P1"))) == {}
    with pytest.raises(BadValue, match="B is taken by another"):
        typed(E9, ("changes[0].name", "B"))


def test_a_pedal_that_goes_takes_its_split_along_and_its_grips_are_told():
    text = typed(E9, lambda sheet: take_out_of_steel(sheet, ("changes", 5)))
    values = tomllib.loads(text)
    assert "splits" not in values
    assert values["body"]["left_knee"] == ["F", "E"]
    text = typed(E9, lambda sheet: take_out_of_steel(sheet, ("changes", 2)))
    assert all("grips[" in field for field in faults(text))
    assert 'no change "C"' in next(iter(faults(text).values()))


@pytest.mark.parametrize(("changes", "field", "why"), [
    ([("changes[0].moves.11", "2")], "changes[0].moves.11", "strings are numbered 1 to 10"),
    ([("strings[3].open", "E12")], "strings[3].open", "out of range"),
    ([("strings[3].open", "H4")], "strings[3].open", "is not a note name"),
    ([("strings[0].open", "G9"), ("changes[7].moves.1", "1")], "changes[7].moves.1", "no note so far"),
    ([("changes[0].moves.5", "25")], "changes[0].moves.5", "<= 24"),
    ([("changes[0].moves.5", "a lot")], "changes[0].moves.5", "expected a whole number"),
    ([("strings[1].gauge_inches", "thick")], "strings[1].gauge_inches", "expected a number"),
    ([("grips[8].changes", "F, E")], "grips[8].changes", "exclude each other"),
    ([("grips[8].changes", "A, C")], "grips[8].changes", "cannot be held"),
    ([("body.together[0]", "F, E")], "body.together[0]", "opposite"),
    ([("splits[0].changes", "A")], "splits[0].changes", "length >= 2"),
    ([("changes[5].place", "left knee left"), ("grips[8].changes", "F, V")], "grips[8].changes", "both at"),
])  # fmt: skip
def test_what_is_wrong_is_said_at_its_field(changes, field, why):
    text = E9
    if field.startswith("body"):
        text = typed(text, lambda sheet: add_to_steel(sheet, ("body", "together")))
    text = typed(text, *changes)
    assert why in faults(text)[field]


def test_several_faults_are_said_at_once():
    text = typed(E9, ("strings[1].gauge_inches", "thick"), ("frets", "many"), ("scale_length_inches", "0"))
    assert set(faults(text)) == {"strings[1].gauge_inches", "frets", "scale_length_inches"}
    text = typed(E9, ("strings[1].open", "H"), ("strings[2].open", "J"))
    assert set(faults(text)) == {"strings[1].open", "strings[2].open"}


def test_a_field_that_is_none_is_refused():
    for field in ("strings[10].open", "changes[99].name", "exclusive[9]", "changes[0].half_stops.5[0][0]"):
        with pytest.raises(BadValue, match="any more"):
            typed(E9, (field, "1"))
