"""Opening the page: framework switches, temporary folder, network addresses.

The framework's own defaults would look up outside hosts, keep a history of runs and fetch pictures by address; all of
that is switched off here, and `access_control.AccessControl` stands before every request.
"""

from __future__ import annotations

import contextlib
import functools
import importlib
import ipaddress
import os
import shutil
import socket
import stat
import sys
import tempfile
import types
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psutil
import uvicorn
from starlette.middleware import Middleware

from irpreview.errors import BadValue
from irpreview.web.access_control import UPLOAD_LIMIT_BYTES, AccessControl, AsgiApp, Receive, Scope, Send
from irpreview.web.closed_packages import closed_packages
from irpreview.web.connections import server_settings

PREFERRED_PORT = 8471
"""Tried first: a browser keeps kit and place per address and port, so a steady port keeps them over a restart."""
SHORTEST_PASSWORD = 8
LOOPBACK = ("127.0.0.1", "localhost")
_THEIRS = (
    "GRADIO_",
    "UVICORN_",
    "SPACE_",
    "SPACES_",
    "OAUTH_",
    "OPENID_",
    "HF_",
    "KAGGLE_",
    "SYSTEM",
    "WEB_CONCURRENCY",
)
"""How the names begin by which the server's libraries let the environment change what they do."""


@dataclass(frozen=True, slots=True)
class OpenPage:
    """A running page: its address on this machine and, if asked for, on the local network."""

    url: str
    lan_urls: tuple[str, ...]
    server: Any
    folder: Path

    def close(self) -> None:
        """Stop answering and delete the temporary folder."""
        with contextlib.suppress(Exception):
            self.server.blocks.close(verbose=False)
        with contextlib.suppress(Exception):
            # A thread inside the network's code must not be cut off at the end of the process.
            self.server.warming.join(20)
        with contextlib.suppress(Exception):
            self.server.desk.reader.close()
        shutil.rmtree(self.folder, ignore_errors=True)


def prepare_framework(folder: Path) -> None:
    """Switch off everything that reaches out, before the framework is imported for the first time."""
    for name in [name for name in os.environ if name.startswith(_THEIRS)]:
        del os.environ[name]
    os.environ["GRADIO_ANALYTICS_ENABLED"] = "False"
    os.environ["HF_HUB_OFFLINE"] = "1"
    os.environ["HF_HUB_DISABLE_TELEMETRY"] = "1"
    os.environ["GRADIO_TEMP_DIR"] = str(folder)
    # The server would believe a caller's word for its own address from whoever this names, and so take a stranger for
    # the owner. Empty: from nobody.
    os.environ["FORWARDED_ALLOW_IPS"] = ""
    for name in ("NO_PROXY", "no_proxy"):
        # The framework asks itself whether it is there; that must not go out to a proxy.
        os.environ[name] = ",".join(filter(None, (os.environ.get(name), *LOOPBACK)))

    _import_framework()
    from gradio import http_server, processing_utils, queueing, routes

    own = functools.partial(uvicorn.Config, **server_settings())
    http_server.uvicorn = types.SimpleNamespace(**(vars(uvicorn) | {"Config": own}))

    async def no_fetch(*_args: object, **_named: object) -> None:
        raise ValueError("fetching by address is switched off")

    class NoCrossOrigin:
        """Stands for the framework's own rules, which trust every other port of this machine; `AccessControl` does."""

        def __init__(self, app: AsgiApp, **_named: object) -> None:
            self.app = app

        async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
            await self.app(scope, receive, send)

    routes.CustomCORSMiddleware = NoCrossOrigin
    processing_utils.async_ssrf_protected_get = no_fetch
    processing_utils.async_ssrf_protected_download = no_fetch
    if not os.environ.get("IRPREVIEW_DEBUG"):
        for module in (queueing, routes):
            module.traceback = types.SimpleNamespace(print_exc=_say_in_one_line)


def _say_in_one_line() -> None:
    """Stands for the framework's own telling of what went wrong before or after our handlers: one line, no insides."""
    kind = sys.exc_info()[0]
    print(f"irpreview: a call of the page came to nothing ({kind.__name__ if kind else 'unknown'})", file=sys.stderr)


def _import_framework() -> None:
    """Load the framework without the packages that it could reach out with; a release that needs them gets them."""
    try:
        with closed_packages():
            importlib.import_module("gradio")
            importlib.import_module("gradio.routes")
    except Exception:
        for name in [name for name in sys.modules if name.partition(".")[0] in ("gradio", "gradio_client")]:
            del sys.modules[name]


def own_folder() -> Path:
    """A fresh temporary folder that only this user can open."""
    remove_leftovers(Path(tempfile.gettempdir()))
    folder = Path(tempfile.mkdtemp(prefix=f"{_FOLDER}{os.getpid()}-"))
    folder.chmod(0o700)
    return folder


_FOLDER = "irpreview-page-"


def remove_leftovers(where: Path) -> None:
    """Delete the folders of pages that were killed: only this user's own, only of processes that are gone."""
    for left in where.glob(f"{_FOLDER}*-*"):
        number = left.name.removeprefix(_FOLDER).partition("-")[0]
        with contextlib.suppress(OSError):
            facts = left.lstat()
            own = not hasattr(os, "getuid") or facts.st_uid == os.getuid()
            if number.isdecimal() and stat.S_ISDIR(facts.st_mode) and own and not _runs(int(number)):
                shutil.rmtree(left, ignore_errors=True)


def _runs(process: int) -> bool:
    """Whether a process of this number runs; where it cannot be told, it does."""
    if os.name == "nt":  # a signal would end it there
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


def free_port(wanted: int | None = None, address: str = "127.0.0.1") -> int:
    """A port to listen on: the wanted one, else the usual one, else any free one.

    Raises BadValue when a wanted port is out of range or taken.
    """
    if wanted is not None and not 1024 <= wanted <= 65535:
        raise BadValue(f"port {wanted} is outside 1024 to 65535; choose one in that range or leave --port out")
    for port in (wanted,) if wanted is not None else (PREFERRED_PORT, 0):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((address, port))
            except OSError:
                continue
            return int(probe.getsockname()[1])
    raise BadValue(f"port {wanted} is taken by another program; choose another or leave --port out")


def lan_addresses() -> tuple[str, ...]:
    """This machine's addresses on its local networks, private ranges only, the one most used first.

    Nothing is sent or looked up.
    """
    found: list[str] = []

    def add(text: str) -> None:
        with contextlib.suppress(ValueError):
            address = ipaddress.ip_address(text)
            if address.version == 4 and address.is_private and not address.is_loopback and text not in found:
                found.append(text)

    for outside in ("10.255.255.255", "192.168.255.255", "172.31.255.255"):
        # Connecting a datagram socket sends nothing; it only asks which of our addresses would be used.
        with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect((outside, 9))
            add(str(probe.getsockname()[0]))
    # Read off the network cards. Asking for the addresses of this machine's own name could go to a name server.
    with contextlib.suppress(OSError):
        for addresses in psutil.net_if_addrs().values():
            for one in addresses:
                if one.family == socket.AF_INET:
                    add(one.address)
    return tuple(found)


def check_password(password: str) -> str:
    """The password, if it is long enough for a network that others are on; raises BadValue."""
    if len(password) < SHORTEST_PASSWORD:
        raise BadValue(f"the password has {len(password)} characters; take at least {SHORTEST_PASSWORD}")
    return password


def launch_options(port: int, password: str | None, closed_folders: Sequence[Path] = ()) -> dict[str, Any]:
    """Everything that the framework is told at the start, none of it left to its defaults."""
    return {
        "server_name": "0.0.0.0" if password is not None else "127.0.0.1",
        "server_port": port,
        "share": False,
        "inbrowser": False,
        "prevent_thread_lock": True,
        "quiet": True,
        "show_error": False,
        "strict_cors": True,
        "ssr_mode": False,
        "run_history": False,
        "footer_links": [],
        "enable_monitoring": False,
        "allowed_paths": [],
        "blocked_paths": [str(path) for path in closed_folders],
        "max_file_size": UPLOAD_LIMIT_BYTES,
        "state_session_capacity": 64,
    }


def open_page(port: int | None = None, lan_password: str | None = None) -> OpenPage:
    """Build the page and start answering on this machine, or with a password on the local network too.

    Raises BadValue for a port that cannot be had or a password that is too short.
    """
    password = check_password(lan_password) if lan_password is not None else None
    addresses = lan_addresses() if password is not None else ()
    listens_on = "0.0.0.0" if password is not None else "127.0.0.1"
    chosen = free_port(port, listens_on)
    folder = own_folder()
    try:
        prepare_framework(folder)
        # loads the framework, which must find everything closed
        from irpreview.web.server import build_server  # noqa: PLC0415

        hosts = (*LOOPBACK, *addresses)
        server = build_server(folder, [Middleware(AccessControl, own_hosts=hosts, password=password)])
        for attempts_left in (2, 1, 0):
            try:
                server.launch(**launch_options(chosen, password, [server.uploads.inbox]))
                break
            except OSError:  # taken by another program since it was found free
                if port is not None or not attempts_left:
                    raise BadValue(f"port {chosen} is taken by another program; choose another with --port") from None
                chosen = free_port(None, listens_on)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    lan_urls = tuple(f"http://{address}:{chosen}/" for address in addresses)
    return OpenPage(f"http://127.0.0.1:{chosen}/", lan_urls, server, folder)


@contextlib.contextmanager
def opened_page(port: int | None = None, lan_password: str | None = None) -> Iterator[OpenPage]:
    """`open_page` for a with-block: closes and cleans up at its end."""
    page = open_page(port, lan_password)
    try:
        yield page
    finally:
        page.close()
