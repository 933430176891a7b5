"""`irpreview serve`: the page in the browser, on this machine unless the local network is asked for."""

from __future__ import annotations

import os
import signal
import threading
import webbrowser
from types import FrameType
from typing import Annotated

import typer

from irpreview.cli.common import within
from irpreview.web.app import check_password, opened_page

LOOKS_UP_S = 0.5


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command()
    def serve(
        port: Annotated[
            int | None,
            typer.Option(
                **within(1024, 65535, whole=True),
                help="Port to listen on, 1024 to 65535; without it the usual or a free one.",
            ),
        ] = None,
        no_open: Annotated[bool, typer.Option("--no-open", help="Do not open the browser.")] = False,
        lan: Annotated[
            bool,
            typer.Option("--lan", help="Answer on the local network too, with a password, so that a phone can use it."),
        ] = False,
    ) -> None:
        """Open the page in the browser. It works without a network; stop it with Ctrl-C."""
        password = None
        if lan:
            password = os.environ.get("IRPREVIEW_LAN_PASSWORD")
            if password is None:
                password = typer.prompt(
                    "Password for the page (8 characters or more)", hide_input=True, confirmation_prompt=True, err=True
                )
            check_password(password)
        stop = threading.Event()

        def stop_now(_signal: int, _frame: FrameType | None) -> None:
            stop.set()

        before = {number: signal.signal(number, stop_now) for number in (signal.SIGINT, signal.SIGTERM)}
        try:
            with opened_page(port, password) as page:
                typer.echo(f"The page is open at {page.url}  (stop with Ctrl-C)", err=True)
                if lan:
                    _say_lan(page.lan_urls)
                if not (no_open or stop.is_set()):
                    webbrowser.open(page.url)
                while not stop.wait(LOOKS_UP_S):  # a signal that another thread was given wakes nobody
                    pass
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)
        typer.echo("The page is closed.", err=True)


def _say_lan(urls: tuple[str, ...]) -> None:
    """Address and warning for the local network."""
    if not urls:
        typer.echo("This machine has no address on a local network, so no phone can reach it now.", err=True)
    for url in urls:
        typer.echo(f"On the local network: {url}  (any user name, your password)", err=True)
    typer.echo(
        "Warning: the connection is not encrypted. Whoever shares this Wi-Fi can read along and try passwords;"
        " use it at home, not in a cafe, and stop it when done. Your field log stays closed to the others.",
        err=True,
    )
