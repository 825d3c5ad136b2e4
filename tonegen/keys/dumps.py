"""A file of tuning messages, as another program or a receiver dumped it, read as a scale."""

from pathlib import Path
from typing import Final

from tonegen.errors import BadValue
from tonegen.keys.midi import SYSEX, TuningMessage, is_tuning, parse_tuning
from tonegen.keys.scale import Scale, scale_of_dumps
from tonegen.keys.stream import Splitter
from tonegen.pitch import REFERENCE_HZ
from tonegen.reading import read_whole

_LARGEST_DUMP_BYTES: Final = 1_000_000


def scale_of_file(path: Path, reference_hz: float = REFERENCE_HZ) -> tuple[Scale, tuple[str, ...]]:
    """The scale of a file of system exclusive messages, and what about it is doubtful, in sentences.

    Messages that are not of the MIDI Tuning Standard are passed over. Raises BadValue for a file without a
    tuning, or with those of several programs.
    """
    tunings = _tunings(path)
    agree = all(tuning.checksum_agrees for tuning in tunings)
    caution = f"{path}: a checksum is wrong, as in some makers' dumps; check the plan"
    return scale_of_dumps(tunings, reference_hz), () if agree else (caution,)


def _tunings(path: Path) -> list[TuningMessage]:
    data = read_whole(path, _LARGEST_DUMP_BYTES, "larger than a megabyte; that is not a tuning dump")
    messages = [message for message in Splitter().feed(data) if message[0] == SYSEX]
    if not messages:
        raise BadValue(f"{path}: holds no system exclusive message (F0 to F7)")
    try:
        tunings = [parse_tuning(message) for message in messages if is_tuning(message)]
    except BadValue as error:
        raise BadValue(f"{path}: {error}") from None
    if not tunings:
        raise BadValue(f"{path}: none of its messages is of the MIDI Tuning Standard")
    programs = sorted({(tuning.bank, tuning.program) for tuning in tunings})
    if len(programs) > 1:
        raise BadValue(f"{path}: holds {len(programs)} tunings, of different programs; leave one in the file")
    return tunings
