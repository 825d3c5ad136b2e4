"""Receiver files: those that ship, and what is wrong with one is said in one line."""

import re
from pathlib import Path

import pytest

from tonegen.errors import BadPreset, BadValue
from tonegen.keys.plan import plan
from tonegen.keys.receivers import check_together, receiver
from tonegen.keys.scale import scale_of_classes

SHIPPED_FOLDER = Path(__file__).parents[2] / "presets" / "receivers"
SHIPPED = sorted(path.stem for path in SHIPPED_FOLDER.glob("*.toml"))


def test_every_means_ships():
    assert set(SHIPPED) >= {
        "twelve-channel-bend", "mpe", "mono-bend", "channel-tuning", "mts-single-note", "mts-bulk",
        "mts-octave", "mts-octave-one-byte", "osc-per-key", "osc-per-class", "osc-per-note",
    }  # fmt: skip


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_receivers_take_a_plan(name):
    made = plan(scale_of_classes("just", [0, 12, 4, 16, -14, -2, -10, 2, 14, -16, 18, -12]), receiver(name))

    assert made.undo or made.receiver.each == "note"
    assert abs(made.worst_left.cents) <= 0.51


def test_what_a_receiver_file_may_say_besides_is_as_its_comment_has_it(tmp_path):
    """The comment's lines, put to use: nothing changes, for they are what holds when they are left out."""
    text = (SHIPPED_FOLDER / "twelve-channel-bend.toml").read_text()
    besides = re.findall(r"^#   (\w+ = \S+)", text, re.MULTILINE)
    path = tmp_path / "said.toml"
    path.write_text("\n".join((text, *besides)))

    assert len(besides) == 7
    assert receiver(str(path)) == receiver("twelve-channel-bend")


TWELVE = "channels = [1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13]"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('means = "smoke signals"', "smoke signals"),
        (f'means = "bend per pitch class"\n{TWELVE}\nbend_range_semitones = 97', "bend_range_semitones"),
        ('means = "bend per pitch class"\nchannels = [1, 2]', "twelve are needed"),
        (f'means = "channel tuning"\n{TWELVE.replace("13", "12")}', "12 is listed twice"),
        (f'means = "channel tuning"\n{TWELVE}\nuntouched = [5]', "channel 5 is among"),
        ('means = "bend per note"\nchannels = [0]', "channels[0]"),
        ('means = "bend per note"\nchannels = [1, 2]\nmanager = 1', "channel 1 is among the members"),
        ('means = "bend per note"\nchannels = [3, 4]\nmanager = 1', "has the channels 2, 3"),
        ('means = "bend per note"\nchannels = [2]\nwidth = 1', "width"),
        ('means = "key tuning"\nmessage = "letter"', "message"),
        ('means = "octave tuning"\nbytes = 3', "bytes"),
        ('means = "octave tuning"\nreset = ["F0 7E"]', "not a system exclusive message"),
        ('means = "octave tuning"\nreference_hz = 300', "reference pitch 300 Hz is out of range"),
        ('means = "osc"\neach = "key"\naddress = "tune"\narguments = []', "not an OSC address"),
        ('means = "osc"\neach = "key"\naddress = "/a"\narguments = ["f {loudness}"]', "{loudness}"),
        ('means = "osc"\neach = "key"\naddress = "/a"\narguments = ["{hz}"]', "needs a type"),
        ('means = "osc"\neach = "key"\naddress = "/a"\narguments = ["f loud"]', "not a number"),
        ('means = "osc"\neach = "note"\naddress = "/a"\narguments = ["f {hz}"]', "off_address"),
    ],
)
def test_a_wrong_receiver_file_is_refused_in_one_line(tmp_path, text, says):
    path = tmp_path / "mine.toml"
    path.write_text(f'title = "Mine"\n{text}\n')

    with pytest.raises(BadPreset) as raised:
        receiver(str(path))

    assert says in str(raised.value)
    assert str(raised.value).startswith(str(path))
    assert "\n" not in str(raised.value)


def test_two_receivers_on_one_channel_are_refused():
    with pytest.raises(BadValue, match="mono-bend and mpe are both on channel 1"):
        check_together({"mpe": receiver("mpe"), "mono-bend": receiver("mono-bend")})
