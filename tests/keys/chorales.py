"""Four-part chorales that are in the public domain, from the corpus of music21, a general library for music.

Their MusicXML is read here: the library would take half a minute for them. The first hundred by name have
23,550 notes, ties taken out. With their repeats they would be 27,060.
"""

import zipfile
from importlib.util import find_spec
from itertools import chain
from pathlib import Path
from xml.etree import ElementTree

import numpy as np

from tonegen.keys.played import PlayedNotes

SECONDS_PER_QUARTER = 0.5
STEPS = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))


def first_hundred():
    """The notes of each."""
    folder = Path(find_spec("music21").submodule_search_locations[0]) / "corpus" / "bach"
    songs = []
    for path in sorted(folder.glob("*.mxl")):
        parts = parts_of(path)
        if len(parts) == 4:
            songs.append(played(chain(*parts)))
        if len(songs) == 100:
            return songs
    raise AssertionError(f"{folder} has only {len(songs)} chorales of four parts")


def parts_of(path):
    """Of each part its notes: begin and end in quarters, and key."""
    with zipfile.ZipFile(path) as packed:
        (name,) = (one for one in packed.namelist() if one.endswith("xml") and "META-INF" not in one)
        root = ElementTree.fromstring(packed.read(name))
    return [notes_of_part(part) for part in root.iter("part")]


def notes_of_part(part):
    notes, tied, begins = [], {}, 0.0
    divisions = 1
    for measure in part.iter("measure"):
        now = last = longest = 0.0
        for one in measure:
            divisions = int(one.findtext("divisions") or divisions)
            lasts = float(one.findtext("duration") or 0) / divisions
            if one.tag == "backup":
                now -= lasts
            elif one.tag == "forward":
                now += lasts
            elif one.tag == "note" and one.find("grace") is None:
                begin = last if one.find("chord") is not None else now
                if (pitch := one.find("pitch")) is not None:
                    sound(notes, tied, begins + begin, begins + begin + lasts, pitch, one)
                last, now = begin, begin + lasts
            longest = max(longest, now)
        begins += longest
    return notes


def sound(notes, tied, begin, end, pitch, note):
    """A note, or more of one that is tied to it."""
    key = 12 * (int(pitch.findtext("octave")) + 1) + STEPS[pitch.findtext("step")]
    key += int(float(pitch.findtext("alter") or 0))
    ties = {tie.get("type") for tie in note.iter("tie")}
    if "stop" in ties and key in tied:
        place = tied.pop(key)
        notes[place] = notes[place][0], end, key
    else:
        place = len(notes)
        notes.append((begin, end, key))
    if "start" in ties:
        tied[key] = place


def played(notes):
    begins, ends, keys = (np.array(column) for column in zip(*sorted(notes), strict=True))
    return PlayedNotes(
        keys, np.ones_like(keys), begins * SECONDS_PER_QUARTER, ends * SECONDS_PER_QUARTER, keys < 0
    )
