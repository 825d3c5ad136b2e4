"""What goes to a channel: pitch bend, controllers, registered parameters, and what comes of them.

A *channel* is 1 to 16, as players count. *Cents* are offsets from equal temperament at A4 = 440 Hz.

Sources: MIDI 1.0 Detailed Specification 4.2.1 (pitch bend, registered parameters); MPE 1.1, M1-100-UM.
"""

from collections.abc import Iterable
from typing import Final

from tonegen.errors import BadValue
from tonegen.keys.midi.fields import FINE_STEPS, Encoded, bend_steps, nibble, seven_bits
from tonegen.keys.midi.status import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    BANK_LSB,
    BANK_MSB,
    BEND,
    BEND_RANGE,
    COARSE_TUNING,
    CONTROL,
    DATA_INCREMENT,
    DATA_LSB,
    DATA_MSB,
    FINE_TUNING,
    MPE_CONFIGURATION,
    NRPN_LSB,
    NRPN_MSB,
    PROGRAM,
    RPN_LSB,
    RPN_MSB,
    SOSTENUTO,
    SUSTAIN,
    TUNING_BANK,
    TUNING_PROGRAM,
    USUAL_BEND_RANGE_SEMITONES,
)


def bend(channel: int, cents: float, range_semitones: float = USUAL_BEND_RANGE_SEMITONES) -> Encoded:
    """A pitch bend, least significant byte first.

    Raises BadValue when the range is too small for `cents`.

    >>> bend(1, -13.7, 2).messages[0].hex(" ")
    'e0 4f 3b'
    """
    cure = "raise bend_range_semitones of the receiver"
    what = f"a bend range of {range_semitones:g} semitones"
    value, left = bend_steps(range_semitones).checked(cents, what, cure)
    return Encoded((bend_message(channel, int(value)),), left)


def bend_message(channel: int, value: int) -> bytes:
    """A pitch bend from its value, 0 to 16383."""
    return bytes((BEND | nibble(channel), value & 0x7F, value >> 7))


def parse_bend(message: bytes, range_semitones: float = USUAL_BEND_RANGE_SEMITONES) -> tuple[int, float]:
    """Channel and cents of a pitch bend. Raises BadValue for any other message."""
    if len(message) != 3 or message[0] & 0xF0 != BEND or max(message[1:]) > 0x7F:
        raise BadValue(f"{message[:8].hex(' ')} is not a pitch bend")
    value = message[2] << 7 | message[1]
    return (message[0] & 0x0F) + 1, float(bend_steps(range_semitones).cents(value))


def control(channel: int, controller: int, value: int) -> bytes:
    """A control change."""
    return bytes((CONTROL | nibble(channel), controller, value))


def program_change(channel: int, program: int, bank: tuple[int, int] | None = None) -> tuple[bytes, ...]:
    """A program, 1 to 128 as players count, with its bank's MSB and LSB before it when they are given.

    Source: MIDI 1.0, program change, and bank select (controllers 0 and 32), which waits for the program.

    >>> [message.hex(" ") for message in program_change(1, 17, (0, 2))]
    ['b0 00 00', 'b0 20 02', 'c0 10']
    """
    chosen = bytes((PROGRAM | nibble(channel), seven_bits(program - 1, "program, counted from 0,")))
    if bank is None:
        return (chosen,)
    msb, lsb = bank
    return control(channel, BANK_MSB, msb), control(channel, BANK_LSB, lsb), chosen


def parameter(channel: int, number: int, msb: int, lsb: int | None = None) -> tuple[bytes, ...]:
    """Set a registered parameter, then select none, so that a later data entry cannot change it.

    The standard lets a receiver clear the LSB when the MSB arrives; some receivers act on the MSB alone.
    LSB, MSB, LSB is right for both.
    """
    fine = () if lsb is None else (control(channel, DATA_LSB, lsb),)
    return (
        control(channel, RPN_MSB, 0),
        control(channel, RPN_LSB, number),
        *fine,
        control(channel, DATA_MSB, msb),
        *fine,
        control(channel, RPN_MSB, 0x7F),
        control(channel, RPN_LSB, 0x7F),
    )


def bend_range(channel: int, semitones: int) -> tuple[bytes, ...]:
    """Set the bend range, 1 to 96 whole semitones (RPN 0). Raises BadValue outside that."""
    bend_steps(semitones)
    return parameter(channel, BEND_RANGE, semitones, 0)


def fine_tuning(channel: int, cents: float) -> Encoded:
    """Channel fine tuning, -100 to 99.988 cents (RPN 1). Raises BadValue outside that."""
    value, left = FINE_STEPS.checked(cents, "channel fine tuning", "add coarse tuning, or retune the keys")
    return Encoded(parameter(channel, FINE_TUNING, int(value) >> 7, int(value) & 0x7F), left)


def coarse_tuning(channel: int, semitones: int) -> tuple[bytes, ...]:
    """Channel coarse tuning, -64 to 63 semitones (RPN 2). Raises BadValue outside that."""
    if not -64 <= semitones <= 63:
        raise BadValue(f"channel coarse tuning {semitones} is out of range; give -64 to 63 semitones")
    return parameter(channel, COARSE_TUNING, 64 + semitones)


def channel_tuning(channel: int, cents: float) -> Encoded:
    """Coarse and fine tuning together, for offsets of any size. Raises BadValue beyond the coarse range."""
    semitones = round(cents / 100)
    fine = fine_tuning(channel, cents - 100 * semitones)
    return Encoded(coarse_tuning(channel, semitones) + fine.messages, fine.left_cents)


def tuning_select(channel: int, program: int, bank: int = 0) -> tuple[bytes, ...]:
    """Let a channel use a tuning program of a tuning bank, both 0 to 127 (RPN 4, RPN 3)."""
    bank, program = seven_bits(bank, "tuning bank"), seven_bits(program, "tuning program")
    return parameter(channel, TUNING_BANK, bank) + parameter(channel, TUNING_PROGRAM, program)


def mpe_zone(members: int, upper: bool = False) -> tuple[bytes, ...]:
    """MPE configuration: a zone of `members` channels beside its manager, 1 or 16; 0 closes it (RPN 6).

    The receiver then sets the bend range of members to 48 semitones and stops all notes.
    """
    if not 0 <= members <= 15:
        raise BadValue(f"an MPE zone of {members} members does not exist; give 0 to 15")
    return parameter(16 if upper else 1, MPE_CONFIGURATION, members)


def notes_off(channels: Iterable[int]) -> tuple[bytes, ...]:
    """Pedals up, notes and sound off."""
    silence = ((SUSTAIN, 0), (SOSTENUTO, 0), (ALL_NOTES_OFF, 0), (ALL_SOUND_OFF, 0))
    return tuple(control(channel, controller, value) for channel in channels for controller, value in silence)


class ParameterReader:
    """Registered parameters, read back from one channel's control changes as they come.

    The standard's rules: the selection sticks; an MSB clears its LSB; a lone LSB is a fine adjustment;
    a non-registered number deselects.

    >>> reader = ParameterReader()
    >>> [entry for message in bend_range(1, 12) if (entry := reader.read(message[1], message[2]))][-1]
    (0, 12, 0)
    """

    __slots__ = ("_data", "number_lsb", "number_msb")

    CONTROLLERS: Final = frozenset((6, 38, 96, 97, 98, 99, 100, 101))

    def __init__(self) -> None:
        """Nothing selected."""
        self.number_msb = self.number_lsb = 0x7F
        self._data: dict[int, int] = {}

    @property
    def number(self) -> int | None:
        """The parameter that is selected."""
        return self.number_lsb if self.number_msb == 0 and self.number_lsb != 0x7F else None

    def read(self, controller: int, value: int) -> tuple[int, int, int] | None:
        """Number, MSB and LSB of the parameter that this control change sets; None when it sets none."""
        if controller == RPN_MSB:
            self.number_msb = value
        elif controller == RPN_LSB:
            self.number_lsb = value
        elif controller in (NRPN_MSB, NRPN_LSB):
            self.number_msb = self.number_lsb = 0x7F
        elif controller in self.CONTROLLERS and (number := self.number) is not None:
            before = self._data.get(number, 0)
            if controller == DATA_MSB:
                data = value << 7
            elif controller == DATA_LSB:
                data = before & ~0x7F | value
            else:  # increment, decrement: of the MSB for bend range (CA, RP-018), of the LSB for tuning
                step = (128 if number != FINE_TUNING else 1) * (1 if controller == DATA_INCREMENT else -1)
                data = min(max(before + step, 0), 0x3FFF)
            self._data[number] = data
            return number, data >> 7, data & 0x7F
        return None
