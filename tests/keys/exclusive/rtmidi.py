"""The part of python-rtmidi that the program uses, on files of the folder EXCLUSIVE_MIDI.

`ports` has the names of the ports, NAME.held is there while a program has it, `sent` has what was sent.
"""

import os
from pathlib import Path

API_RTMIDI_DUMMY = 5


def _at(name):
    return Path(os.environ["EXCLUSIVE_MIDI"]) / name


class RtMidiError(Exception):
    pass


class SystemError(RtMidiError, OSError):
    pass


def get_compiled_api():
    return [4]


class MidiOut:
    def __init__(self, rtapi, name):
        self._held = None

    def get_ports(self):
        return _at("ports").read_text().splitlines()

    def open_port(self, number, name=None):
        held = _at(f"{self.get_ports()[number]}.held")
        try:
            held.touch(exist_ok=False)
        except FileExistsError:
            raise SystemError("MidiOutWinMM::openPort: error creating Windows MM MIDI output port.") from None
        self._held = held

    def is_port_open(self):
        return self._held is not None

    def send_message(self, message):
        if self._held is None or not self._held.exists():
            raise SystemError("MidiOutWinMM::sendMessage: error sending MIDI message.")
        with _at("sent").open("a") as sent:
            sent.write(bytes(message).hex() + "\n")

    def close_port(self):
        if self._held is not None:
            self._held.unlink(missing_ok=True)
            self._held = None

    def delete(self):
        self.close_port()


class MidiIn(MidiOut):
    def ignore_types(self, **_):
        pass

    def set_callback(self, callback):
        pass

    def cancel_callback(self):
        pass
