"""What the keys part says of a receiver, as the rig changes under it."""

import socket

import pytest


@pytest.fixture
def visitor(running):
    with running.page() as visitor:
        yield visitor


def test_a_rig_that_a_receiver_cannot_hold_is_said_only_while_it_is_so(visitor):
    """1200 log2(415/440) = -101.3 cents; a two-byte octave tuning holds 100 (MIDI Tuning Standard)."""
    visitor.ask("receiver", name="mts-octave", policy="mean", follow=False)
    visitor.shown("keys", lambda keys: keys["receiver"] == "mts-octave" and keys["words"] == "")
    visitor.ask("choose", reference_hz=415.0)
    visitor.shown("keys", lambda keys: "cannot hold -101.271" in keys["words"] and not keys["rows"])
    visitor.ask("send", where="virtual tonegen keys")
    assert "cannot hold -101.271" in visitor.shown("fault")["text"]
    visitor.ask("choose", reference_hz=440.0)
    visitor.shown("keys", lambda keys: keys["words"] == "" and len(keys["rows"]) == 12)


def test_a_receiver_that_is_tuned_stays_so_in_words_when_another_way_is_chosen(visitor):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind(("127.0.0.1", 0))
        where = f"127.0.0.1:{receiver.getsockname()[1]}"
        visitor.ask("receiver", name="osc-per-class", policy="mean", follow=False)
        visitor.ask("send", where=f"osc {where}")
        keys = visitor.shown("keys", lambda keys: keys["status"] != "")
        assert (keys["status"], keys["seconds"]) == ("sending", 0.0)  # said before the port has answered
        assert keys["words"].startswith("sending ")
        assert keys["words"].endswith(f" bytes to {where}")
        visitor.shown("keys", lambda keys: keys["status"] == "sent")
        visitor.ask("receiver", name="osc-per-class", policy="grip first", follow=False)
        keys = visitor.shown("keys", lambda keys: keys["policy"] == "grip first")
        visitor.ask("panic")
        assert keys["words"] == f"tuned, at {where}"
        visitor.ask("putback")
        visitor.shown("keys", lambda keys: keys["words"] == "put back")


def test_a_receiver_that_is_tuned_is_put_back_before_another_is_tuned(visitor):
    """Else nothing would remain that takes it back."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind(("127.0.0.1", 0))
        where = f"osc 127.0.0.1:{receiver.getsockname()[1]}"
        visitor.ask("receiver", name="osc-per-class", policy="mean", follow=False)
        visitor.ask("send", where=where)
        visitor.shown("keys", lambda keys: keys["status"] == "sent")
        visitor.ask("send", where=where)
        visitor.shown("fault", lambda fault: "put it back first" in fault["text"])
        visitor.ask("receiver", name="osc-per-key", policy="grip first", follow=False)
        visitor.shown("fault", lambda fault: "put the receiver back before" in fault["text"])
        visitor.ask("panic")
        keys = visitor.shown("keys")
        assert (keys["receiver"], keys["policy"], keys["status"]) == ("osc-per-class", "mean", "sent")
        visitor.ask("putback")
        visitor.shown("keys", lambda keys: keys["status"] == "")
        visitor.ask("receiver", name="osc-per-key", policy="mean", follow=False)
        visitor.shown("keys", lambda keys: keys["receiver"] == "osc-per-key")


def test_what_cannot_be_reached_is_no_longer_being_sent_to(visitor):
    """MIDI 1.0: 31,250 baud, ten bits to the byte; a bulk dump of all keys is 408 bytes."""
    visitor.ask("receiver", name="mts-bulk", policy="mean", follow=False)
    visitor.ask("send", where="midi No Such Piano")
    keys = visitor.shown("keys", lambda keys: keys["status"] == "sending")
    assert keys["seconds"] >= 408 * 320e-6
    visitor.shown("fault", lambda fault: "No Such Piano" in fault["text"] or "MIDI" in fault["text"])
    visitor.shown("keys", lambda keys: keys["status"] == "")


def test_who_leads_new_notes_is_chosen_and_what_cannot_be_is_said(visitor):
    visitor.ask("choose", temperament="five-limit-just")
    visitor.ask("receiver", name="mpe", policy="mean", follow=False)
    visitor.ask("chord", lead="bass")
    keys = visitor.shown("keys", lambda keys: keys["lead"] == "bass")
    assert keys["leads"] == ["off", "bass", "song", "steel"]
    assert {row["wanted"] for row in keys["rows"]} == {"+0.00"}, "the bass leads at equal temperament"
    visitor.ask("receiver", name="mts-bulk", policy="mean", follow=False)
    visitor.shown("keys", lambda keys: "a dump of all keys cannot follow the chord" in keys["words"])
    visitor.ask("chord", lead="drummer")
    assert "unknown choice" in visitor.shown("fault")["text"]
    visitor.ask("chord", lead="off")
    visitor.shown(
        "keys", lambda keys: keys["lead"] == "off" and keys["words"] == "" and len(keys["rows"]) == 128
    )
