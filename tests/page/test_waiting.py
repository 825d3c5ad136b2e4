"""Connections that wait: each part of a request has its time, and a byte now and then wins none."""

import asyncio
from types import SimpleNamespace

import pytest
from uvicorn import Config
from uvicorn.server import ServerState

from tonegen.page.waiting import BODY_SECONDS, HEAD_SECONDS, MOST_CONNECTIONS, MOST_WAITING, ImpatientProtocol

HEAD = b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 9\r\n\r\n"
WHOLE = b"GET / HTTP/1.1\r\nHost: x\r\n\r\n"


class Transport:
    """Takes nothing anywhere."""

    def __init__(self, protocol):
        self.protocol, self.gone = protocol, False

    def abort(self):
        self.gone = True
        self.protocol.connection_lost(ConnectionAbortedError())

    def write(self, data):
        pass

    def resume_reading(self):
        pass

    def get_extra_info(self, name):
        return None

    def get_protocol(self):
        return self.protocol

    def is_closing(self):
        return self.gone


class Clock:
    """An event loop whose timers end when they are told to, and which leaves answers to the test."""

    def __init__(self):
        self.timers = []
        self.now = 0.0
        self.loop = asyncio.new_event_loop()

    def call_later(self, seconds, call):
        self.now += 1e-6
        timer = SimpleNamespace(seconds=seconds, call=call, until=self.now + seconds)
        timer.when = lambda: timer.until
        timer.cancel = lambda: self.timers.remove(timer)
        self.timers.append(timer)
        return timer

    def create_task(self, task, **named):
        task.close()
        return asyncio.Future(loop=self.loop)


async def nobody(scope, receive, send):
    """An application that is never asked."""


@pytest.fixture
def arrives():
    """A new connection of a server."""
    config, state, clock = Config(nobody), ServerState(), Clock()
    config.load()

    def connection():
        protocol = ImpatientProtocol(config, state, {}, clock)
        protocol.connection_made(Transport(protocol))
        return protocol

    connection.clock = clock
    yield connection
    clock.loop.close()


def allowed(arrives):
    return [timer.seconds for timer in arrives.clock.timers]


def answer(connection):
    """The whole answer, as the server gives it."""
    cycle = connection.cycle
    asyncio.run(cycle.send({"type": "http.response.start", "status": 200, "headers": []}))
    asyncio.run(cycle.send({"type": "http.response.body", "body": b""}))


def test_each_part_of_a_request_has_its_time(arrives):
    connection = arrives()
    assert allowed(arrives) == [HEAD_SECONDS]
    connection.data_received(HEAD)
    assert allowed(arrives) == [BODY_SECONDS]
    connection.data_received(b"ninebytes")
    assert allowed(arrives) == []


@pytest.mark.parametrize(("before", "slow"), [(b"", HEAD), (HEAD, b"ninebytes")], ids=["head", "body"])
def test_a_byte_now_and_then_wins_no_time(arrives, before, slow):
    connection = arrives()
    if before:
        connection.data_received(before)
    (first,) = arrives.clock.timers
    for byte in slow[:-1]:
        connection.data_received(bytes([byte]))
    assert arrives.clock.timers == [first]
    first.call()
    assert connection.transport.gone
    assert arrives.clock.timers == []


def test_whoever_was_answered_and_begins_to_ask_again_must_finish_too(arrives):
    connection = arrives()
    connection.data_received(WHOLE)
    answer(connection)
    connection.data_received(b"G")
    (timer,) = arrives.clock.timers
    assert timer.seconds == HEAD_SECONDS


def test_a_body_that_is_answered_before_it_has_come_must_come_all_the_same(arrives):
    connection = arrives()
    connection.data_received(HEAD)
    answer(connection)
    connection.data_received(b"n")
    assert allowed(arrives) == [BODY_SECONDS]


def test_a_websocket_waits_as_long_as_it_likes(arrives):
    connection = arrives()
    connection.ws_protocol_class = lambda **_: SimpleNamespace(
        connection_made=lambda transport: None, data_received=lambda data: None
    )
    connection.transport.set_protocol = lambda other: setattr(connection.transport, "protocol", other)
    connection.data_received(WHOLE[:-2] + b"Connection: upgrade\r\nUpgrade: websocket\r\n\r\n")
    assert allowed(arrives) == []


def test_of_too_many_that_wait_the_one_with_least_time_left_goes(arrives):
    asked, sends, *waiting = [arrives() for _ in range(MOST_WAITING)]
    asked.data_received(WHOLE)  # waits no more
    sends.data_received(HEAD)  # a song
    late = [arrives(), arrives()]
    assert [one.transport.gone for one in (asked, sends, *waiting[:2], *late)] == [
        False, False, True, False, False, False,
    ]  # fmt: skip


def test_there_is_an_end_to_connections_of_all_kinds(arrives):
    for _ in range(MOST_CONNECTIONS):
        arrives().data_received(WHOLE)
    assert arrives().transport.gone
