"""Connections to the page: few of one address, none without a request for long, and always room for the owner.

A connection costs a file number of the process; a stranger who only opens them would use all up. The server's own
limit counts all people together, so the count is kept here by address. This machine itself is never refused.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

MOST_OF_ONE_ADDRESS = 32
"""A browser opens 6 to 8 at once."""
MOST_OF_OTHERS = 256
"""All but this machine together."""
FIRST_REQUEST_S = 20.0
"""To a whole request head, from opening or from the first byte of a further one."""
LOOPBACK_CLIENTS = ("127.0.0.1", "::1")


class Places:
    """How many connections of each address are open."""

    def __init__(self) -> None:
        self.taken: Counter[str] = Counter()

    def enter(self, address: str) -> bool:
        """Whether there is room for one more of this address, which is then counted."""
        full = self.taken[address] >= MOST_OF_ONE_ADDRESS or self.taken.total() >= MOST_OF_OTHERS
        if address not in LOOPBACK_CLIENTS:
            if full:
                if not self.taken[address]:
                    del self.taken[address]
                return False
            self.taken[address] += 1
        return True

    def leave(self, address: str) -> None:
        """One connection of this address is closed."""
        if self.taken[address] > 1:
            self.taken[address] -= 1
        else:
            del self.taken[address]


def limited(protocol: type[Any], places: Places) -> type[Any]:
    """The server's own protocol of one connection, with these limits around it."""

    class Limited(protocol):  # type: ignore[misc]
        _address: str | None = None
        _waits: Any = None

        def connection_made(self, transport: Any) -> None:
            address = str((transport.get_extra_info("peername") or ("",))[0])
            if not places.enter(address):
                transport.abort()
                return
            self._address = address
            super().connection_made(transport)
            self._waits = self.loop.call_later(FIRST_REQUEST_S, self._close_idle)

        def connection_lost(self, exc: Exception | None) -> None:
            self._wait_no_more()
            if self._address is not None:
                places.leave(self._address)
                super().connection_lost(exc)

        def data_received(self, data: bytes) -> None:
            if self._address is None:
                return
            super().data_received(data)
            if not self._lacks_head():
                self._wait_no_more()
            elif self._waits is None:  # the head of a second request has its time as well
                self._waits = self.loop.call_later(FIRST_REQUEST_S, self._close_idle)

        def eof_received(self) -> None:
            if self._address is not None:
                super().eof_received()

        def _lacks_head(self) -> bool:
            return self.conn.their_state is h11.IDLE

        def _wait_no_more(self) -> None:
            if self._waits is not None:
                self._waits.cancel()
                self._waits = None

        def _close_idle(self) -> None:
            self._waits = None
            if self._lacks_head():
                self.transport.close()

    return Limited


def server_settings() -> dict[str, Any]:
    """Settings of the server that no variable of the environment may change."""
    return {
        "proxy_headers": False,
        "forwarded_allow_ips": "",
        "workers": 1,
        "ws": "none",
        "timeout_keep_alive": 15,
        "http": limited(H11Protocol, Places()),
    }
