"""MIDI 1.0 in bytes: from cents to messages, and back.

A *channel* is 1 to 16, as players count. *Cents* are offsets from equal temperament at A4 = 440 Hz.
"""

from tonegen.keys.midi.channel import (
    ParameterReader as ParameterReader,
)
from tonegen.keys.midi.channel import (
    bend as bend,
)
from tonegen.keys.midi.channel import (
    bend_message as bend_message,
)
from tonegen.keys.midi.channel import (
    bend_range as bend_range,
)
from tonegen.keys.midi.channel import (
    channel_tuning as channel_tuning,
)
from tonegen.keys.midi.channel import (
    coarse_tuning as coarse_tuning,
)
from tonegen.keys.midi.channel import (
    control as control,
)
from tonegen.keys.midi.channel import (
    fine_tuning as fine_tuning,
)
from tonegen.keys.midi.channel import (
    mpe_zone as mpe_zone,
)
from tonegen.keys.midi.channel import (
    notes_off as notes_off,
)
from tonegen.keys.midi.channel import (
    parameter as parameter,
)
from tonegen.keys.midi.channel import (
    parse_bend as parse_bend,
)
from tonegen.keys.midi.channel import (
    program_change as program_change,
)
from tonegen.keys.midi.channel import (
    tuning_select as tuning_select,
)
from tonegen.keys.midi.fields import (
    COARSE_STEPS as COARSE_STEPS,
)
from tonegen.keys.midi.fields import (
    FINE_OCTAVE_STEPS as FINE_OCTAVE_STEPS,
)
from tonegen.keys.midi.fields import (
    FINE_STEPS as FINE_STEPS,
)
from tonegen.keys.midi.fields import (
    KEY_STEPS as KEY_STEPS,
)
from tonegen.keys.midi.fields import (
    NO_CHANGE as NO_CHANGE,
)
from tonegen.keys.midi.fields import (
    OCTAVE_STEPS as OCTAVE_STEPS,
)
from tonegen.keys.midi.fields import (
    Encoded as Encoded,
)
from tonegen.keys.midi.fields import (
    Steps as Steps,
)
from tonegen.keys.midi.fields import (
    bend_steps as bend_steps,
)
from tonegen.keys.midi.fields import (
    nibble as nibble,
)
from tonegen.keys.midi.fields import (
    seven_bits as seven_bits,
)
from tonegen.keys.midi.show import (
    ShowCommand as ShowCommand,
)
from tonegen.keys.midi.show import (
    ShowMessage as ShowMessage,
)
from tonegen.keys.midi.show import (
    is_show as is_show,
)
from tonegen.keys.midi.show import (
    is_show_for as is_show_for,
)
from tonegen.keys.midi.show import (
    parse_show as parse_show,
)
from tonegen.keys.midi.show import (
    parse_song_select as parse_song_select,
)
from tonegen.keys.midi.show import (
    show_go as show_go,
)
from tonegen.keys.midi.status import (
    ALL_CHANNELS as ALL_CHANNELS,
)
from tonegen.keys.midi.status import (
    ALL_DEVICES as ALL_DEVICES,
)
from tonegen.keys.midi.status import (
    ALL_NOTES_OFF as ALL_NOTES_OFF,
)
from tonegen.keys.midi.status import (
    ALL_SOUND_OFF as ALL_SOUND_OFF,
)
from tonegen.keys.midi.status import (
    BANK_LSB as BANK_LSB,
)
from tonegen.keys.midi.status import (
    BANK_MSB as BANK_MSB,
)
from tonegen.keys.midi.status import (
    BEND as BEND,
)
from tonegen.keys.midi.status import (
    BEND_RANGE as BEND_RANGE,
)
from tonegen.keys.midi.status import (
    CHANNEL_BITS as CHANNEL_BITS,
)
from tonegen.keys.midi.status import (
    COARSE_TUNING as COARSE_TUNING,
)
from tonegen.keys.midi.status import (
    CONTROL as CONTROL,
)
from tonegen.keys.midi.status import (
    DATA_BYTES as DATA_BYTES,
)
from tonegen.keys.midi.status import (
    DATA_DECREMENT as DATA_DECREMENT,
)
from tonegen.keys.midi.status import (
    DATA_INCREMENT as DATA_INCREMENT,
)
from tonegen.keys.midi.status import (
    DATA_LSB as DATA_LSB,
)
from tonegen.keys.midi.status import (
    DATA_MSB as DATA_MSB,
)
from tonegen.keys.midi.status import (
    END_OF_SYSEX as END_OF_SYSEX,
)
from tonegen.keys.midi.status import (
    END_OF_TRACK as END_OF_TRACK,
)
from tonegen.keys.midi.status import (
    FINE_TUNING as FINE_TUNING,
)
from tonegen.keys.midi.status import (
    KEY_PRESSURE as KEY_PRESSURE,
)
from tonegen.keys.midi.status import (
    KIND_BITS as KIND_BITS,
)
from tonegen.keys.midi.status import (
    META as META,
)
from tonegen.keys.midi.status import (
    MPE_CONFIGURATION as MPE_CONFIGURATION,
)
from tonegen.keys.midi.status import (
    NOTE_OFF as NOTE_OFF,
)
from tonegen.keys.midi.status import (
    NOTE_ON as NOTE_ON,
)
from tonegen.keys.midi.status import (
    NRPN_LSB as NRPN_LSB,
)
from tonegen.keys.midi.status import (
    NRPN_MSB as NRPN_MSB,
)
from tonegen.keys.midi.status import (
    PRESSURE as PRESSURE,
)
from tonegen.keys.midi.status import (
    PROGRAM as PROGRAM,
)
from tonegen.keys.midi.status import (
    REAL_TIME as REAL_TIME,
)
from tonegen.keys.midi.status import (
    RESET as RESET,
)
from tonegen.keys.midi.status import (
    RESET_CONTROLLERS as RESET_CONTROLLERS,
)
from tonegen.keys.midi.status import (
    RPN_LSB as RPN_LSB,
)
from tonegen.keys.midi.status import (
    RPN_MSB as RPN_MSB,
)
from tonegen.keys.midi.status import (
    SECONDS_PER_BYTE as SECONDS_PER_BYTE,
)
from tonegen.keys.midi.status import (
    SONG_SELECT as SONG_SELECT,
)
from tonegen.keys.midi.status import (
    SOSTENUTO as SOSTENUTO,
)
from tonegen.keys.midi.status import (
    SUSTAIN as SUSTAIN,
)
from tonegen.keys.midi.status import (
    SYSEX as SYSEX,
)
from tonegen.keys.midi.status import (
    SYSTEM as SYSTEM,
)
from tonegen.keys.midi.status import (
    TUNING_BANK as TUNING_BANK,
)
from tonegen.keys.midi.status import (
    TUNING_PROGRAM as TUNING_PROGRAM,
)
from tonegen.keys.midi.status import (
    UNDEFINED_REAL_TIME as UNDEFINED_REAL_TIME,
)
from tonegen.keys.midi.status import (
    USUAL_BEND_RANGE_SEMITONES as USUAL_BEND_RANGE_SEMITONES,
)
from tonegen.keys.midi.tuning import (
    FORMS as FORMS,
)
from tonegen.keys.midi.tuning import (
    Form as Form,
)
from tonegen.keys.midi.tuning import (
    TuningMessage as TuningMessage,
)
from tonegen.keys.midi.tuning import (
    checksum as checksum,
)
from tonegen.keys.midi.tuning import (
    dump_request as dump_request,
)
from tonegen.keys.midi.tuning import (
    is_tuning as is_tuning,
)
from tonegen.keys.midi.tuning import (
    key_dump as key_dump,
)
from tonegen.keys.midi.tuning import (
    key_word as key_word,
)
from tonegen.keys.midi.tuning import (
    key_words as key_words,
)
from tonegen.keys.midi.tuning import (
    note_change as note_change,
)
from tonegen.keys.midi.tuning import (
    note_changes as note_changes,
)
from tonegen.keys.midi.tuning import (
    octave_change as octave_change,
)
from tonegen.keys.midi.tuning import (
    octave_dump as octave_dump,
)
from tonegen.keys.midi.tuning import (
    octave_tuning as octave_tuning,
)
from tonegen.keys.midi.tuning import (
    octave_words as octave_words,
)
from tonegen.keys.midi.tuning import (
    parse_tuning as parse_tuning,
)
