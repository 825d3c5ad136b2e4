"""The set list of a setup, as a set: songs with their keys, and no receivers yet."""

from typing import Final

from tonegen.instrument import Instrument
from tonegen.setlist.records import SetList, SetSong
from tonegen.setup.setting import Setup

PAGE_TITLE: Final = "Set list of the page"


def set_of_setup(setup: Setup, instrument: Instrument, name: str, title: str) -> SetList:
    """The songs of a setup in their order, each at the lowest fret of its key.

    >>> from tonegen.presets import instrument
    >>> from tonegen.setup.setting import Song
    >>> setup = Setup("e9-ten-string", songs=(Song("Invented Waltz", 7),))
    >>> [(song.name, song.fret) for song in set_of_setup(setup, instrument("e9-ten-string"), "a", "A").songs]
    [('Invented Waltz', 3.0)]
    """
    songs = tuple(
        SetSong(song.name, number, song.key, float(instrument.fret_of_key(song.key)), minor=song.minor)
        for number, song in enumerate(setup.songs, 1)
    )
    return SetList(
        name, title, songs, instrument=setup.instrument, temperament=setup.temperament, root=setup.root,
        drop=setup.drop, reference_hz=setup.reference_hz,
    )  # fmt: skip
