"""The page's server: one document, its style and scripts, and which handler answers which call.

Only this module and `app` know gradio; of it the page uses the server with its queue, and none of its widgets. It is
imported after `app.prepare_framework` has closed what the framework would open.
"""

from __future__ import annotations

import contextlib
import importlib
import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import gradio as gr
import numpy as np
from fastapi.responses import FileResponse, HTMLResponse, PlainTextResponse, Response
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware

from irpreview.analysis import analyse
from irpreview.core.scene.class_picture import CLASS_COLOURS, CLASS_LETTERS
from irpreview.core.units import shutter_text
from irpreview.io.photo_reader import PhotoReader
from irpreview.records import CLASS_NAMES, CLASS_WORDS, Photo
from irpreview.web import answer
from irpreview.web.access_control import UPLOAD_LIMIT_BYTES, UPLOAD_PATH
from irpreview.web.handlers import Desk
from irpreview.web.log_desk import LogDesk
from irpreview.web.log_desk import form_choices as log_choices
from irpreview.web.responses import Shown, sorry
from irpreview.web.templating import filled
from irpreview.web.values import known_kits

STATIC = Path(__file__).parent / "static"
STATIC_TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
LOOPBACK_CLIENTS = ("127.0.0.1", "::1")
MOST_HEAVY, MOST_QUICK = 32, 16
"""Calls at once; the desk itself lets heavy work in one at a time."""

Call = Callable[[str | None, Mapping[str, Any], bool], "Shown | Iterator[Shown]"]
"""token, what the browser sent, whether it is the owner's computer."""


def page_html() -> str:
    """The whole document; what is known of a snap comes later, in parts."""
    classes = [
        {
            "name": name,
            "words": CLASS_WORDS[name],
            "letter": CLASS_LETTERS[name],
            "colour": "#{:02x}{:02x}{:02x}".format(*CLASS_COLOURS[name]),
            "dark": sum(CLASS_COLOURS[name]) < 360,
        }
        for name in CLASS_NAMES
    ]
    return filled(
        "page.html",
        classes=classes,
        kits=[(kit.name, kit.words) for kit in known_kits()],
        winds=[answer.wind_words(index) for index in range(len(answer.WINDS_M_S))],
        winds_metres=[answer.wind_words(index, in_metres=True) for index in range(len(answer.WINDS_M_S))],
        wind_steps=[answer.wind_step(index) for index in range(len(answer.WINDS_M_S))],
        times=[shutter_text(one) for one in answer.SHUTTERS_S],
        upload={"address": UPLOAD_PATH, "limit_mb": UPLOAD_LIMIT_BYTES // 1024**2},
        log=log_choices(),
    )


def calls_of(desk: Desk, log: LogDesk) -> dict[str, tuple[Call, bool]]:
    """Name of each call: (what answers it, whether it is quick)."""

    def heavy(work: Callable[[str | None, Mapping[str, Any]], Shown]) -> tuple[Call, bool]:
        return (lambda token, data, _: desk.told(lambda: work(token, data), token)), False

    def quick(work: Callable[[str | None, Mapping[str, Any]], Shown]) -> tuple[Call, bool]:
        return (lambda token, data, _: desk.at_once(token, lambda: work(token, data))), True

    def plain(work: Callable[[str | None, Mapping[str, Any]], Shown | Iterator[Shown]]) -> tuple[Call, bool]:
        return (lambda token, data, _: work(token, data)), False

    def enter(token: str | None, data: Mapping[str, Any], _owner: bool) -> Iterator[Shown]:
        values, number = _mapping(data, "values"), desk.arrived(token, data.get("number"))
        yield from desk.told(lambda: desk.enter(token, values, number))
        yield log.follow_kit(token)

    def opened(_token: str | None, data: Mapping[str, Any], owner: bool) -> Iterator[Shown]:
        for number, shown in enumerate(desk.open(data.get("token"), owner)):
            yield shown
            if number == 0:
                yield log.open(shown.values.get("token"))

    return {
        "open": (opened, False),
        "stop": (lambda token, _data, _owner: desk.stop(token), True),
        "give": plain(lambda token, data: desk.give(token, data.get("given"))),
        "pick": plain(lambda token, data: desk.pick(token, _whole(data, "index"))),
        "drop": quick(lambda token, data: desk.drop(token, _whole(data, "index"))),
        "empty": quick(lambda token, _: desk.empty(token)),
        "enter": (enter, False),
        "outline": heavy(
            lambda token, data: desk.outline(token, _list(data, "strokes"), _whole(data, "reach"), _grows(data))
        ),
        "take": heavy(
            lambda token, data: desk.take(token, _list(data, "strokes"), _whole(data, "reach"), _grows(data))
        ),
        "area": heavy(
            lambda token, data: desk.correct_area(token, _whole(data, "area"), str(data.get("class_name", "")))
        ),
        "undo": heavy(lambda token, _: desk.undo(token)),
        "redo": heavy(lambda token, _: desk.redo(token)),
        "move": quick(
            lambda token, data: desk.move(token, _whole(data, "wind"), data.get("shutter"), _whole(data, "number"))
        ),
        "settle": heavy(
            lambda token, data: desk.settle(token, _whole(data, "wind"), data.get("shutter"), _whole(data, "number"))
        ),
        "view": heavy(lambda token, data: desk.view(token, str(data.get("name", "")))),
        "first_framing": plain(
            lambda token, data: desk.told(
                lambda: desk.first_framing(token, _whole(data, "version")), token, quietly=True
            )
        ),
        "section": heavy(lambda token, data: desk.section(token, str(data.get("name", "")))),
        "beside": plain(lambda token, _: desk.beside(token)),
        "card": heavy(
            lambda token, data: desk.make_card(token, str(data.get("title", "")), data.get("with_place") is True)
        ),
        "field_page": plain(lambda token, data: desk.make_field_page(token, data.get("with_place") is True)),
        "log_plan": plain(log.plan),
        "log_note": plain(log.note),
        "log_undo": plain(lambda token, _: log.undo(token)),
        "log_search": plain(log.search),
        "log_compare": plain(log.compare),
        "log_keep": plain(lambda token, _: log.keep(token)),
        "log_remove": plain(log.remove),
        "log_use": plain(log.use),
    }


def build_server(folder: Path, middleware: list[Any], log_file: Path | None = None) -> Any:
    """The whole page. `folder`: where files on their way may lie. `log_file`: the field log, None = the usual one."""
    server = gr.Server(
        title="irpreview",
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        middleware=[*middleware, _gzip()],
    )
    desk = Desk(folder, reader=PhotoReader())
    calls = calls_of(desk, LogDesk(desk, log_file))
    html = page_html()

    def page() -> str:
        return html

    def static(name: str) -> Response:
        path = STATIC / name
        if path.suffix not in STATIC_TYPES or path.parent != STATIC or not path.is_file():
            return PlainTextResponse("There is nothing here.", 404)
        return FileResponse(path, media_type=STATIC_TYPES[path.suffix], headers={"cache-control": "no-cache"})

    def mark() -> Response:
        return FileResponse(STATIC / "mark.svg", media_type="image/svg+xml")

    server.add_api_route("/", page, response_class=HTMLResponse)
    server.add_api_route("/page/{name}", static)
    server.add_api_route("/favicon.ico", mark)
    server.router.routes.insert(0, desk.uploads.route())
    for name, (call, is_quick) in calls.items():
        server.api(
            _endpoint(name, call),
            name=name,
            # the one that has to get through when all others are stuck
            concurrency_id="stop" if name == "stop" else "quick" if is_quick else "heavy",
            concurrency_limit=MOST_QUICK if is_quick else MOST_HEAVY,
            api_visibility="undocumented",
        )
    server.desk, server.uploads = desk, desk.uploads
    server.warming = threading.Thread(target=_warm_up, args=(desk.reader,), daemon=True)
    server.warming.start()
    return server


def _gzip() -> Any:
    return Middleware(GZipMiddleware, minimum_size=2000)


def _endpoint(name: str, call: Call) -> Callable[..., Any]:
    """One call as the server's queue takes it: what the browser sent in, what changes out, bit by bit."""

    def run(data: dict[str, Any], request: gr.Request) -> Iterator[dict[str, Any]]:
        sent = data if isinstance(data, dict) else {}
        token = sent.get("token")
        try:
            shown = call(token if isinstance(token, str) else None, sent, _is_owner(request))
            for part in (shown,) if isinstance(shown, Shown) else shown:
                yield part.as_dict()
        except Exception as error:
            yield sorry(error).as_dict()

    # the server reads what a call gives back off its annotations
    run.__annotations__ = {"data": dict, "request": gr.Request, "return": dict}
    run.__name__ = name
    return run


def _warm_up(reader: PhotoReader) -> None:
    """Load network and tables before the first snap comes; failures are told when they matter."""
    with contextlib.suppress(Exception):
        reader.start()
        analysis = analyse(Photo(np.full((96, 128, 3), 128, np.uint8)))
        _ = analysis.verdict, analysis.why_no_exposure
        importlib.import_module("sklearn.ensemble")  # what the tones are blended with costs a second to load


def _is_owner(request: Any) -> bool:
    """Whether the page was opened on the computer that shows it."""
    client = getattr(request, "client", None)
    return getattr(client, "host", None) in LOOPBACK_CLIENTS


def _mapping(data: Mapping[str, Any], name: str) -> dict[str, Any]:
    value = data.get(name)
    return value if isinstance(value, dict) else {}


def _list(data: Mapping[str, Any], name: str) -> list[Any]:
    value = data.get(name)
    return value if isinstance(value, list) else []


def _grows(data: Mapping[str, Any]) -> bool:
    return data.get("grow") is not False


def _whole(data: Mapping[str, Any], name: str) -> int:
    """A whole number; what is none becomes one that every handler refuses."""
    value = data.get(name)
    return value if isinstance(value, int) and not isinstance(value, bool) else -99
