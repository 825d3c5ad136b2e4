"""Every number of the MIDI standard that the program writes or reads, once.

Source: MIDI 1.0 Detailed Specification 4.2.1, tables I to VI and IIIa; MPE 1.1 for the zone's parameter.
"""

from typing import Final

# Status bytes. Those of a channel carry its number, 0 to 15, in their lower four bits.
NOTE_OFF: Final = 0x80
NOTE_ON: Final = 0x90
KEY_PRESSURE: Final = 0xA0
CONTROL: Final = 0xB0
PROGRAM: Final = 0xC0
PRESSURE: Final = 0xD0
BEND: Final = 0xE0
SYSEX: Final = 0xF0
END_OF_SYSEX: Final = 0xF7
SONG_SELECT: Final = 0xF3
RESET: Final = 0xFF
# From here on a status has no channel; from REAL_TIME on it may stand inside another message.
SYSTEM: Final = 0xF0
REAL_TIME: Final = 0xF8
UNDEFINED_REAL_TIME: Final = (0xF9, 0xFD)
KIND_BITS: Final = 0xF0
CHANNEL_BITS: Final = 0x0F
# Data bytes behind each status; a system exclusive message ends by itself.
DATA_BYTES: Final = {
    **dict.fromkeys((NOTE_OFF, NOTE_ON, KEY_PRESSURE, CONTROL, BEND), 2),
    **dict.fromkeys((PROGRAM, PRESSURE), 1),
    0xF1: 1,
    0xF2: 2,
    SONG_SELECT: 1,
    0xF6: 0,
}
# In a file the last status is a meta event, not a reset (Standard MIDI Files 1.0).
META: Final = 0xFF
END_OF_TRACK: Final = 0x2F

# Controllers.
BANK_MSB: Final = 0
BANK_LSB: Final = 32
DATA_MSB: Final = 6
DATA_LSB: Final = 38
SUSTAIN: Final = 64
SOSTENUTO: Final = 66
DATA_INCREMENT: Final = 96
DATA_DECREMENT: Final = 97
NRPN_LSB: Final = 98
NRPN_MSB: Final = 99
RPN_LSB: Final = 100
RPN_MSB: Final = 101
ALL_SOUND_OFF: Final = 120
RESET_CONTROLLERS: Final = 121
ALL_NOTES_OFF: Final = 123

# Registered parameters: MIDI 1.0 table IIIa; MPE 1.1 for the last one.
BEND_RANGE: Final = 0
FINE_TUNING: Final = 1
COARSE_TUNING: Final = 2
TUNING_PROGRAM: Final = 3
TUNING_BANK: Final = 4
MPE_CONFIGURATION: Final = 6

USUAL_BEND_RANGE_SEMITONES: Final = 2  # the General MIDI 2 default
ALL_CHANNELS: Final = tuple(range(1, 17))
ALL_DEVICES: Final = 0x7F
# A cable carries 31250 baud, ten bits to the byte; no receiver needs to be sent more slowly.
SECONDS_PER_BYTE: Final = 0.00032
