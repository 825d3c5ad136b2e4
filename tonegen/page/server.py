"""The server: the packaged files of the page, one WebSocket for what is asked and shown, one for sound."""

import asyncio
import contextlib
import socket
from collections.abc import AsyncIterator, Callable
from importlib.resources import files
from typing import Final, Literal

import msgspec
from msgspec import Struct
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from tonegen.ending import ends_by
from tonegen.errors import BadValue, TonegenError
from tonegen.page.asked import Asked
from tonegen.page.classroom.asks import FromPhone, ListenersName
from tonegen.page.classroom.part import ClassPart, HeardInLesson
from tonegen.page.ears.part import EarsPart
from tonegen.page.ears.recorded import LARGEST_RECORDING_BYTES, recorded_note
from tonegen.page.engine import Engine, Fault, Redo, Undo
from tonegen.page.guard import Doorkeeper
from tonegen.page.keys.part import KeysPart
from tonegen.page.keys.songs import LARGEST_SONG_BYTES, retuned_song
from tonegen.page.registry import everything_asked
from tonegen.page.sound.rendering import Render, rendered
from tonegen.page.stage.outlet import InPage

LARGEST_MESSAGE_BYTES: Final = 65_536
_LARGEST_BODY_BYTES: Final = 1000
_MOST_PAGES: Final = 64
# asyncio takes in a whole backlog before it looks at the first, and reports each that the system has no place
# for: a megabyte a second. So it takes few at a time, and the system holds the rest.
_TAKEN_AT_A_TIME: Final = 32
_MOST_HELD_BY_THE_SYSTEM: Final = 2048
_TAKEN_ELSEWHERE: Final = 4001
_TOO_MANY: Final = 4429
_NO_ROOM: Final = (
    f"Too many pages are open, {_MOST_PAGES} of them: close one, and this one will open by itself."
)
_KINDS: Final = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
_HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
        "media-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-cache",
}
# What is kept of people is for no cache, and a browser saves it instead of showing it.
_TO_KEEP: Final = {"Cache-Control": "no-store", "Content-Disposition": 'attachment; filename="answers.csv"'}


class Ping(Asked, frozen=True):
    """Ask what the engine's clock shows."""

    sent_ms: float


class Pong(Struct, tag="pong", frozen=True):
    """The answer to a ping: what it carried, and the server's clock."""

    sent_ms: float
    clock_ms: float


class ForTablets(Struct, tag="tablets", frozen=True):
    """How another screen in the network comes to the page: its link, and the rows of its QR code, "1" dark.

    Both are empty where it is open to this machine only.
    """

    link: str = ""
    code: tuple[str, ...] = ()


class SpeakerPlays(Struct, forbid_unknown_fields=True, frozen=True):
    """Where a page's loudspeaker is: the next frame that it plays, and which frame is heard when.

    heard_at_ms : on the server's clock, as a `pong` told it; None where the page does not know that yet
    """

    next_frame: float
    heard_frame: float
    heard_at_ms: float | None


def application(
    start: Callable[[], Engine], port: int, names: tuple[str, ...] = (), token: str | None = None
) -> Starlette:
    """The web application; `start` makes the engine once the event loop runs.

    names : by which other machines know this one. token : that they must bring along.
    """
    packaged = _packaged_files()
    tablets = for_tablets(link_to(names[0], port, token)) if names else ForTablets()

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        engine = app.state.engine = start()
        app.state.tablets = msgspec.json.encode(tablets)
        if names:
            engine.part(ClassPart).address = f"http://{names[0]}:{port}"
        moments = asyncio.create_task(engine.run())
        yield
        moments.cancel()
        await engine.close()

    async def file(request: Request) -> Response:
        path = request.url.path.removeprefix("/")
        if path not in packaged:
            return PlainTextResponse("tonegen: there is no such page\n", 404, _HEADERS)
        content, kind = packaged[path]
        return Response(content, media_type=kind, headers=_HEADERS)

    async def answers(request: Request) -> Response:
        try:
            table = await app.state.engine.part(EarsPart).answers_as_csv()
        except TonegenError as error:
            return PlainTextResponse(f"tonegen: {error}\n", 404, _HEADERS)
        return Response(table, media_type="text/csv", headers={**_HEADERS, **_TO_KEEP})

    async def class_sound(request: Request) -> Response:
        part = app.state.engine.part(ClassPart)
        try:
            if request.url.path.endswith("/lesson.wav"):
                asked = msgspec.convert(dict(request.query_params), HeardInLesson, strict=False)
                made = await part.lesson_sound(asked)
            else:
                made = await part.sound()
        except (TonegenError, msgspec.ValidationError) as error:
            return PlainTextResponse(f"tonegen: {error}\n", 404, _HEADERS)
        return Response(made, media_type="audio/wav", headers={**_HEADERS, "Cache-Control": "no-store"})

    def class_token() -> str:
        engine: Engine | None = getattr(app.state, "engine", None)
        return engine.part(ClassPart).token if engine else ""

    render = _OneFileAtATime(
        _sound_file, _LARGEST_BODY_BYTES, "that request for a file is too large",
        "a file is already being written; try again when it is done",
    )  # fmt: skip
    retune = _OneFileAtATime(
        _song, LARGEST_SONG_BYTES, "larger than 20 MB; that is not a song",
        "a MIDI file is already being retuned; try again when it is done",
    )  # fmt: skip
    partner = _OneFileAtATime(
        _partners_note, LARGEST_RECORDING_BYTES, "larger than 50 MB; send one held note",
        "a recording is already being read; try again when it is done",
    )  # fmt: skip
    app = Starlette(
        routes=[
            WebSocketRoute("/engine", _engine),
            WebSocketRoute("/sound", _sound),
            WebSocketRoute("/classroom/listen", _class),
            Route("/classroom/sound.wav", class_sound),
            Route("/classroom/lesson.wav", class_sound),
            Route("/answers.csv", answers),
            # By POST, for which a browser must say whose page asks: see `guard`.
            Route("/render", render.answer, methods=["POST"]),
            Route("/retune", retune.answer, methods=["POST"]),
            Route("/partner", partner.answer, methods=["POST"]),
            Route("/{path:path}", file),
        ],
        middleware=[Middleware(Doorkeeper, port=port, names=names, token=token, class_token=class_token)],
        lifespan=lifespan,
    )
    return app


def _packaged_files() -> dict[str, tuple[bytes, str]]:
    """Every file of the page by the folder and name it has here, the page itself by ""; no other path means
    anything to the server.
    """
    found = {
        f"{folder.name}/{entry.name}": (entry.read_bytes(), _KINDS[ending])
        for folder in files("tonegen.page").iterdir()
        if folder.is_dir()
        for entry in folder.iterdir()
        if (ending := entry.name[entry.name.rfind(".") :]) in _KINDS
    }
    found[""] = found.pop("static/index.html")
    return found


class _OneFileAtATime:
    """Makes a file of what a request brings; another that comes in while it does is refused."""

    def __init__(
        self,
        prepare: Callable[[Engine, bytes], Callable[[], Response]],
        largest_bytes: int,
        too_large: str,
        busy: str,
    ) -> None:
        """prepare : takes from the engine, at once, what the work that it gives back needs in a thread."""
        self._prepare = prepare
        self._largest_bytes = largest_bytes
        self._too_large = too_large
        self._busy = busy
        self._working = asyncio.Lock()

    async def answer(self, request: Request) -> Response:
        try:
            body = await _body(request, self._largest_bytes, self._too_large)
            if self._working.locked():
                return _refusal(self._busy)
            async with self._working:
                return await asyncio.to_thread(self._prepare(request.app.state.engine, body))
        except (TonegenError, msgspec.MsgspecError, ClientDisconnect) as error:
            return _refusal(str(error))


def _sound_file(engine: Engine, body: bytes) -> Callable[[], Response]:
    asked = msgspec.json.decode(body, type=Render)
    tones, level_dbfs = engine.present_sound()
    return lambda: rendered(asked, tones, level_dbfs, _HEADERS)


def _song(engine: Engine, body: bytes) -> Callable[[], Response]:
    made = engine.part(KeysPart).plan()
    return lambda: retuned_song(body, made, _HEADERS)


def _partners_note(engine: Engine, body: bytes) -> Callable[[], Response]:
    take = engine.part(EarsPart).take_note

    def read() -> Response:
        take(recorded_note(body))
        return PlainTextResponse("", headers=_HEADERS)

    return read


def _refusal(why: str) -> Response:
    return PlainTextResponse(f"{why}\n", 400, _HEADERS)


async def _body(request: Request, largest_bytes: int, too_large: str) -> bytes:
    """What a request brings. Raises BadValue when that is too large, after the last of it went by: a browser
    that still sends hears no answer.
    """
    body, size = bytearray(), 0
    async for part in request.stream():
        size += len(part)
        if size <= largest_bytes:
            body += part
    if size > largest_bytes:
        raise BadValue(too_large)
    return bytes(body)


class _OpenPage:
    """A page's WebSocket; what it has not taken yet is replaced by what is newer, so nothing piles up."""

    def __init__(self, socket: WebSocket) -> None:
        self._socket = socket
        self._waiting: dict[str, bytes] = {}
        self._posted = asyncio.Event()

    def post(self, kind: str, message: bytes) -> None:
        self._waiting[kind] = message
        self._posted.set()

    async def deliver(self) -> None:
        while True:
            await self._posted.wait()
            self._posted.clear()
            while self._waiting:
                kind = next(iter(self._waiting))
                await self._socket.send_text(self._waiting.pop(kind).decode())


async def _engine(socket: WebSocket) -> None:
    """What a page asks, and what it is shown."""
    engine: Engine = socket.app.state.engine
    await socket.accept()
    if len(engine.pages) >= _MOST_PAGES:
        await socket.close(
            _TOO_MANY,
            _NO_ROOM,
        )
        return
    page = _OpenPage(socket)
    delivering = asyncio.create_task(page.deliver())
    engine.join(page)
    page.post("tablets", socket.app.state.tablets)
    decoder = msgspec.json.Decoder(everything_asked(Ping, Undo, Redo))
    try:
        while True:
            message = await socket.receive()
            if message["type"] == "websocket.disconnect":
                break
            try:
                asked = decoder.decode(message.get("text") or message.get("bytes") or b"")
                if isinstance(asked, Ping):
                    pong = Pong(asked.sent_ms, 1000 * asyncio.get_running_loop().time())
                    page.post("pong", msgspec.json.encode(pong))
                else:
                    engine.ask(asked)
            except TonegenError as error:
                page.post("fault", msgspec.json.encode(Fault(str(error))))
            except (msgspec.MsgspecError, RecursionError, UnicodeDecodeError) as error:
                page.post("fault", msgspec.json.encode(Fault(f"not understood: {error}")))
            await asyncio.sleep(0)  # however fast a page asks, the others have their turn
    finally:
        engine.leave(page)
        await _ended(delivering)


async def _ended(delivering: asyncio.Task[None]) -> None:
    """End what sends to a page, which may be gone."""
    delivering.cancel()
    with contextlib.suppress(asyncio.CancelledError, WebSocketDisconnect, RuntimeError, OSError):
        await delivering


async def _class(socket: WebSocket) -> None:
    """A phone of the class: who it is, then what it answers; it is told nothing but the class."""
    part = socket.app.state.engine.part(ClassPart)
    await socket.accept()
    phone = _OpenPage(socket)
    delivering = asyncio.create_task(phone.deliver())
    decoder = msgspec.json.Decoder(FromPhone)
    try:
        while True:
            said = decoder.decode(await socket.receive_text())
            try:
                part.say(phone, said)
            except TonegenError as error:
                if isinstance(said, ListenersName):
                    raise
                phone.post("fault", msgspec.json.encode(Fault(str(error))))
            await asyncio.sleep(0)
    except (TonegenError, msgspec.MsgspecError, KeyError) as error:
        await _close(socket, 1008, str(error)[:100])
    except (WebSocketDisconnect, RuntimeError, OSError):
        pass
    finally:
        part.leave(phone)
        await _ended(delivering)


async def _sound(socket: WebSocket) -> None:
    """A page's own loudspeaker: it says where it is, and is given what it plays next."""
    engine: Engine = socket.app.state.engine
    await socket.accept()

    def taken_away() -> None:
        closing = asyncio.ensure_future(_close(socket, _TAKEN_ELSEWHERE, "the sound moved elsewhere"))
        _closing.add(closing)
        closing.add_done_callback(_closing.discard)

    outlet: InPage | None = None
    delivering: asyncio.Task[None] | None = None
    decoder = msgspec.json.Decoder(SpeakerPlays)
    try:
        outlet = engine.stage.hear_in_page(_whole_number(socket.query_params.get("rate", "")), taken_away)
        delivering = asyncio.create_task(outlet.deliver(socket.send_bytes))
        while True:
            plays = decoder.decode(await socket.receive_text())
            at_seconds = None if plays.heard_at_ms is None else plays.heard_at_ms / 1000
            outlet.now_plays(plays.next_frame, plays.heard_frame, at_seconds)
    except (TonegenError, msgspec.MsgspecError, KeyError) as error:
        await _close(socket, 1008, str(error)[:100])
    except (WebSocketDisconnect, RuntimeError, OSError):
        pass
    finally:
        if outlet is not None:
            engine.stage.no_longer_in_page(outlet)
        if delivering is not None:
            await _ended(delivering)


_closing: set[asyncio.Future[None]] = set()


async def _close(socket: WebSocket, code: int, why: str) -> None:
    with contextlib.suppress(RuntimeError, OSError):
        await socket.close(code, why)


def _whole_number(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 8 else 0


def link_to(host: str, port: int, token: str | None) -> str:
    """The link that opens the page."""
    return f"http://{host}:{port}/" + (f"?token={token}" if token else "")


def for_tablets(link: str) -> ForTablets:
    """The link and its code. Source of the code: ISO/IEC 18004, by segno."""
    import segno

    rows = segno.make(link, micro=False).matrix
    return ForTablets(link, tuple("".join("1" if dark else "0" for dark in row) for row in rows))


def listen(host: str, port: int) -> socket.socket:
    """A socket that listens at an address. Raises OSError when the port is taken."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen(128)
    except OSError:
        listening.close()
        raise
    return listening


def lan_address() -> str | None:
    """The address by which this machine is known in its network; None without one. Nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(("192.0.2.1", 9))  # RFC 5737: an address that belongs to nobody
            address: str = asking.getsockname()[0]
        except OSError:
            return None
    return None if address.startswith("127.") else address


def serve(app: Starlette, sockets: list[socket.socket], ready: Callable[[], None]) -> None:
    """Serve until Ctrl-C or a signal to end; `ready` is called once pages can be opened."""
    import uvicorn

    from tonegen.page.waiting import ImpatientProtocol

    class Server(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            for one in sockets or []:
                one.listen(_MOST_HELD_BY_THE_SYSTEM)
            if self.started:
                ready()

        def capture_signals(self) -> contextlib.AbstractContextManager[None]:  # type: ignore[override]
            return contextlib.nullcontext()

        def end(self) -> None:
            self.should_exit = True

    loop: Literal["asyncio"] = "asyncio"
    config = uvicorn.Config(
        app, loop=loop, http=ImpatientProtocol, ws="websockets-sansio", lifespan="on", log_level="warning",
        access_log=False, server_header=False, ws_max_size=LARGEST_MESSAGE_BYTES,
        ws_per_message_deflate=False, timeout_graceful_shutdown=1, backlog=_TAKEN_AT_A_TIME,
    )  # fmt: skip
    server = Server(config)
    with ends_by(server.end):
        server.run(sockets)
