"""tonegen page."""

from collections.abc import Callable

import click

from tonegen.cli.asked import TEXT
from tonegen.errors import BadValue, NoSuchDevice

_PORT = 8427


@click.command()
@click.option("--port", type=click.IntRange(1, 65535), default=_PORT, show_default=True, help="Where.")
@click.option("--lan", is_flag=True, help="Let in a tablet on the same network, by a link and a QR code.")
@click.option("--device", type=TEXT, help="Sound device, by number or part of its name.")
@click.option("--block", type=int, default=0, help="Frames per block; 0 lets the device choose.")
@click.option("--no-browser", is_flag=True, help="Only print the link.")
def command(port: int, lan: bool, device: str | None, block: int, no_browser: bool) -> None:
    """Open the page: see, hear and set the instrument.

    \b
    tonegen page
    tonegen page --lan
    """
    from tonegen.page.engine import Engine
    from tonegen.page.keeping import KeptFile, kept_file
    from tonegen.page.server import application, lan_address, link_to, listen, serve
    from tonegen.page.token import kept_token, token_file
    from tonegen.sound.device import check_playing

    check_playing(None, block)
    address = lan_address() if lan else None
    if lan and address is None:
        raise NoSuchDevice("this machine is not on a network; connect it, or leave out --lan")
    try:
        sockets = [listen(host, port) for host in ("127.0.0.1", address) if host]
    except OSError as error:
        raise BadValue(f"port {port} cannot be used ({error.strerror}); give another --port") from None
    token = kept_token(token_file()) if lan else None
    link = link_to(address or "127.0.0.1", port, token)
    with KeptFile(kept_file()) as file:

        def start() -> Engine:
            return Engine(file.kept, file.save, device, block, file.said, file.undecided)

        _put_back_left()
        app = application(start, port, (address,) if address else (), token)
        serve(app, sockets, _ready(link, with_code=lan, browser=not no_browser))


def _put_back_left() -> None:
    from tonegen.keys import journal

    if journal.left():
        from tonegen.keys.ports_process import left_put_back

        for line in left_put_back():
            click.echo(line, err=True)


def _ready(link: str, with_code: bool, browser: bool) -> Callable[[], None]:
    def ready() -> None:
        from tonegen.synthesis.player import HEARING_CAUTION

        click.echo(f"The page is at {link}")
        if with_code:
            import segno

            from tonegen.cli.plain import is_printed_whole
            from tonegen.page.token import token_file

            click.echo(
                "Anyone with this link can play and retune, now and after a restart. For a new "
                f"link, delete {token_file()} and restart."
            )
            segno.make(link).terminal(compact=is_printed_whole("█"))
        click.echo(HEARING_CAUTION, err=True)
        click.echo("Ctrl-C ends.")
        if browser:
            import threading
            import webbrowser

            threading.Thread(target=webbrowser.open, args=(link,), daemon=True).start()

    return ready
