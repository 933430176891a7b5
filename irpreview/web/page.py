"""The page itself: parts in the order of the day, and which handler answers which of them.

Only this module, `app` and `style` know the page's framework; it is imported after `app.prepare_framework` has closed
what the framework would open. Pictures and words come ready from `handlers`.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import gradio as gr

from irpreview.records import DEFAULT_GRADE, Kit
from irpreview.web import log_parts, parts, scripts
from irpreview.web.handlers import Desk
from irpreview.web.log_desk import LogDesk, news
from irpreview.web.responses import Shown
from irpreview.web.values import known_kits

STORE_KEY = "irpreview-kit-and-place"
STORE_SECRET = "kept in your own browser only"
"""Kit and place lie in the browser's own storage; a fixed key lets them outlive a restart of the page."""

KEPT = (
    ("kit", "unmodified-720"),
    ("factor_stops", ""),
    ("focal_35mm_mm", ""),
    ("widest_f_number", ""),
    ("lowest_iso", ""),
    ("highest_iso", ""),
    ("zone", ""),
    ("place", ""),
)
"""Entries that the browser keeps, with what a new browser starts from."""

STARTS = {"grade": DEFAULT_GRADE, "sky_state": "unknown", "haze": "unknown", "water_kind": "unknown"}

SKIES = [
    ("not known", "unknown"),
    ("clear", "clear"),
    ("thin cloud over the sun", "thin_cloud"),
    ("broken cloud", "broken"),
    ("overcast", "overcast"),
]
WATERS = [("not known", "unknown"), *((word, word) for word in ("pond", "lake", "sea", "stream", "falls"))]

INTRO = """<header><h1>How will infrared see it?</h1>
<p>Give a daylight snap from your phone. You get the scene as near-infrared would draw it in black and white, and what
to do about it: which parts will stand apart, what the wind does to them, how long to open, when the light is right.</p>
<p class="small quiet">Everything stays on this computer. No network is needed.</p></header>"""

BEFORE = """<div class="before"><h2>What you will get</h2><ol><li>what is in the picture, which you can correct</li>
<li>the infrared picture beside the photograph</li><li>whether its parts hold apart in a print</li>
<li>what wind and time do to it</li><li>ISO, aperture and time, with test frames</li>
<li>when to come back</li><li>a card to carry</li></ol></div>"""


LOOPBACK_CLIENTS = ("127.0.0.1", "::1")


def build_page(folder: Path, log_file: Path | None = None) -> Any:
    """The whole page. `folder`: where its files may lie. `log_file`: the field log, None = the usual one."""
    desk = Desk(folder)
    warming = threading.Thread(target=_warm_up, daemon=True)
    warming.start()
    with gr.Blocks(
        title="How will infrared see it?", analytics_enabled=False, delete_cache=(300, 1800), fill_width=True
    ) as page:
        _Page(desk, LogDesk(desk, log_file)).lay_out(page)
    page.warming, page.uploads = warming, desk.uploads
    page.queue(max_size=64, default_concurrency_limit=4, api_open=False)
    return page


def _warm_up() -> None:
    """Load network and tables before the first snap comes; failures are told when they matter."""
    import contextlib

    with contextlib.suppress(Exception):
        import numpy as np

        from irpreview import study
        from irpreview.inputs import Inputs
        from irpreview.records import Photo

        study.begin(Photo(np.full((96, 128, 3), 128, np.uint8)), Inputs())
        import sklearn.ensemble  # noqa: F401


class _Page:
    """Lays out components and ties them to the desk."""

    def __init__(self, desk: Desk, log: LogDesk) -> None:
        self.desk, self.log = desk, log
        self.shown: dict[str, Any] = {}
        self.entries: dict[str, Any] = {}

    # ---- layout -------------------------------------------------------------------------------------------------

    def lay_out(self, page: Any) -> None:
        self.token = gr.State(None, time_to_live=7200, delete_callback=self._leave)
        self.kept = gr.BrowserState(dict(KEPT), storage_key=STORE_KEY, secret=STORE_SECRET)
        self._html(parts.block(INTRO))
        self._head(
            "Your photograph", "From this computer, or straight from the phone's camera. Several at once is fine."
        )
        self.files = self._html(parts.giving(), elem_id="snap-files", js=scripts.GIVING_JS)
        self._part("status", parts.status(""))
        self._part("snaps", "", elem_id="snaps", js=scripts.SNAPS_JS)
        with gr.Accordion("Kit, place and day", open=False, elem_id="entries"):
            self._entries()
        self._html(parts.block(BEFORE))
        with gr.Column(elem_classes=["later"]):
            self._head("What is in it", "All answers rest on this map. Put it right where it is wrong.")
            self._part("seen", "", elem_id="seen", js=scripts.BRUSH_JS)
            self._head("How infrared sees it", "Drag the seam, or use the arrow keys or the buttons.")
            self._part("twin", "", elem_id="twin", js=scripts.TWIN_JS)
            self._head("Will it hold apart", "Neighbouring parts in a black-and-white print, after the filter.")
            self._part("hold", "", elem_id="hold")
            self._head("Wind and time", "Move either; the picture follows.")
            self._part("dials", "", elem_id="dials", js=scripts.DIALS_JS)
            self._part("moving", "", elem_id="moving")
            self._head("How long to open", "The setting to start from, and how to make sure.")
            self._part("opening", "", elem_id="opening")
            self._head("When to come back", "The light of that day at that place.")
            self._part("hours", "", elem_id="hours")
            self._head("Take it with you", "One page for the bag, a picture for the phone, and the figures as a file.")
            self._card()
        with gr.Accordion("What you brought home", open=False, elem_id="brought-home"):
            self._home()
        self._tie(page)

    def _html(self, value: str, js: str | None = None, **options: Any) -> Any:
        return gr.HTML(value, apply_default_css=False, js_on_load=js, **options)

    def _head(self, title: str, words: str) -> None:
        self._html(parts.heading(title, words))

    def _part(self, name: str, value: str, elem_id: str | None = None, js: str | None = None) -> None:
        self.shown[name] = gr.HTML(value, apply_default_css=False, js_on_load=js, elem_id=elem_id or name)

    def _entries(self) -> None:
        keep = self.entries
        kits: Sequence[Kit] = known_kits()
        self._html(parts.block('<p class="small quiet">An empty field means: not known. That is a fine answer.</p>'))
        keep["kit"] = gr.Dropdown(
            [(kit.words, kit.name) for kit in kits], value=kits[0].name, label="Filter and camera", filterable=False
        )
        with gr.Row():
            keep["factor_stops"] = _blank("Filter factor, your own test (stops)")
            keep["focal_35mm_mm"] = _blank("Focal length (mm on 36 x 24)")
            keep["widest_f_number"] = _blank("Widest aperture (f-number)")
        with gr.Row():
            keep["lowest_iso"] = _blank("Lowest ISO")
            keep["highest_iso"] = _blank("Highest ISO you accept")
            keep["grade"] = gr.Slider(0, 5, DEFAULT_GRADE, step=0.5, label="Paper grade")
        with gr.Row():
            keep["place"] = _blank("Place (latitude, longitude)")
            keep["when"] = _blank("Day and time")
            keep["zone"] = _blank("Time zone (name or +02:00)")
        with gr.Row():
            keep["heading_deg"] = _blank("Bearing of the view (degrees)")
            keep["sky_state"] = gr.Dropdown(
                SKIES,
                value="unknown",
                label="Sky",
                filterable=False,
            )
            keep["haze"] = gr.Dropdown(
                [("not known", "unknown"), ("very clear air", "clear"), ("ordinary", "normal"), ("hazy", "hazy")],
                value="unknown",
                label="Air",
                filterable=False,
            )
        with gr.Row():
            keep["trees_m"] = _blank("Distance of the trees (m)")
            keep["nearest_m"] = _blank("Nearest thing to be sharp (m)")
            keep["temperature_c"] = _blank("Temperature (°C)")
        with gr.Row():
            keep["wind_from_deg"] = _blank("Wind comes from (degrees)")
            keep["cloud_fist_s"] = _blank("Seconds a cloud takes to cross your fist")
            keep["water_kind"] = gr.Dropdown(
                WATERS,
                value="unknown",
                label="Water",
                filterable=False,
            )

    def _card(self) -> None:
        with gr.Row():
            self.title = gr.Textbox("", label="Name on the card", max_lines=1)
            self.with_place = gr.Checkbox(False, label="Put the location on the card", elem_id="with-place")
        self.make = gr.Button("Make the card", variant="primary", elem_id="make-card")
        with gr.Row():
            self.downloads = [
                gr.DownloadButton(f"Save as {kind}", interactive=False, elem_id=f"save-{kind.lower()}")
                for kind in ("PDF", "PNG", "JSON")
            ]

    def _home(self) -> None:
        words = "Write the plan down, note the frame beside it, and the next plan is surer."
        self._html(parts.block(f'<p class="quiet">{parts.safe(words)}</p>'))
        self._part("log_news", news(""), elem_id="log-news", js=scripts.LOG_NEWS_JS)
        self.home = self._html(log_parts.forms(), elem_id="home", js=scripts.HOME_JS)
        self._part("log_compared", "", elem_id="log-compared", js=scripts.COMPARED_JS)
        self._part("log_learned", "", elem_id="log-learned", js=scripts.LEARNED_JS)
        self._part("log_entries", "", elem_id="log-entries", js=scripts.ENTRIES_JS)

    # ---- what answers what --------------------------------------------------------------------------------------

    def _tie(self, page: Any) -> None:
        shown = self.shown
        outputs = [*(shown[name] for name in shown), self.entries["place"], self.entries["when"]]
        outputs += [self.entries["heading_deg"], self.title, *self.downloads]
        names = list(self.entries)
        fields = [self.entries[name] for name in names]
        quiet = {"show_progress": "hidden", "api_visibility": "private", "queue": True}
        # The desk lets heavy work in one at a time and tells who waits; the framework's own queue would say nothing.
        told = {**quiet, "concurrency_id": "heavy", "concurrency_limit": 32}
        dialled = {**quiet, "concurrency_id": "dials", "concurrency_limit": 16}

        def opened(token: str | None, kept: Any, request: gr.Request) -> list[Any]:
            token = token or self.desk.sittings.open(_is_owner(request))
            self.desk.enter(token, _kept_values(kept))
            part = self.log.open(token)
            return [token, part.log_learned or "", part.log_entries or ""]

        kept_fields = [self.entries[name] for name, _ in KEPT]
        # The fields are filled in the browser: an answer of the server could come after something has been typed.
        page.load(None, self.kept, kept_fields, js=_restoring(), show_progress="hidden")
        log_outputs = [shown["log_learned"], shown["log_entries"]]
        # Marked in the document when the server has answered, for whoever waits for that (the tests do).
        page.load(opened, [self.token, self.kept], [self.token, *log_outputs], **quiet).then(
            None, js="() => { document.body.dataset.opened = 'yes'; }", show_progress="hidden"
        )

        def add(request: gr.Request, event: gr.EventData, token: str | None, *values: Any) -> Iterator[list[Any]]:
            token = token or self.desk.sittings.open(_is_owner(request))
            self.desk.enter(token, dict(zip(names, values, strict=True)))
            for part in self.desk.give(token, _data(event).get("given")):
                yield [token, *self._updates(part)]

        # "multiple" wherever something is given or chosen: else what comes during an answer is dropped without a word.
        self.files.give(add, [self.token, *fields], [self.token, *outputs], trigger_mode="multiple", **told)

        def pick(token: str | None, event: gr.EventData) -> Iterator[list[Any]]:
            yield from self._each(self.desk.pick(token, _whole(event, "index")))

        shown["snaps"].select(pick, self.token, outputs, trigger_mode="multiple", **told)

        def enter(token: str | None, *values: Any) -> Iterator[list[Any]]:
            entered, number = dict(zip(names, values[:-1], strict=True)), values[-1]
            number = self.desk.arrived(token, number)
            yield from self._each(self.desk.told(lambda: self.desk.enter(token, entered, number)))
            yield self._updates(self.log.follow_kit(token))

        changes = []
        for name, entry in self.entries.items():
            if name == "grade":
                changes.append(entry.release)
            elif name in ("kit", "sky_state", "haze", "water_kind"):
                changes.append(entry.input)
            else:
                changes += [entry.submit, entry.blur]
        # Numbered where they are made: two that are given in one breath may arrive in either order.
        numbered = "(...values) => [...values.slice(0, -1), window.given = (window.given || 0) + 1]"
        taken = [self.token, *fields, gr.Number(0, visible=False)]
        gr.on(changes, enter, taken, outputs, js=numbered, trigger_mode="multiple", **told)
        places = json.dumps([[name, names.index(name)] for name, _ in KEPT])
        # In the browser alone, so that nothing is lost however soon the page is left.
        keep = f"(...values) => [Object.fromEntries({places}.map(([name, at]) => [name, values[at]]))]"
        gr.on(changes, None, fields, self.kept, js=keep, trigger_mode="multiple", show_progress="hidden")

        def paint(token: str | None, event: gr.EventData) -> Iterator[list[Any]]:
            data = _data(event)
            given = data.get("strokes")
            strokes = given if isinstance(given, list) else []
            yield from self._each(
                self.desk.told(lambda: self.desk.paint(token, strokes, data.get("grow") is not False))
            )

        def area(token: str | None, event: gr.EventData) -> Iterator[list[Any]]:
            index, class_name = _whole(event, "area"), str(_data(event).get("class_name", ""))
            yield from self._each(self.desk.told(lambda: self.desk.correct_area(token, index, class_name)))

        def undo(token: str | None) -> Iterator[list[Any]]:
            yield from self._each(self.desk.told(lambda: self.desk.undo(token)))

        shown["seen"].apply(paint, self.token, outputs, **told)
        shown["seen"].edit(area, self.token, outputs, **told)
        shown["seen"].undo(undo, self.token, outputs, **told)

        def move(token: str | None, event: gr.EventData) -> Iterator[list[Any]]:
            at = [_whole(event, name) for name in ("wind", "time", "number")]
            yield from self._each(self.desk.at_once(token, lambda: self.desk.move(token, *at)))

        def settle(token: str | None, event: gr.EventData) -> Iterator[list[Any]]:
            at = [_whole(event, name) for name in ("wind", "time", "number")]
            yield from self._each(self.desk.told(lambda: self.desk.settle(token, *at)))

        shown["dials"].input(move, self.token, outputs, trigger_mode="multiple", **dialled)
        shown["dials"].release(settle, self.token, outputs, trigger_mode="multiple", **dialled)

        def make(token: str | None, title: str, with_place: bool) -> Iterator[list[Any]]:
            yield from self._each(self.desk.told(lambda: self.desk.make_card(token, title, with_place)))

        self.make.click(make, [self.token, self.title, self.with_place], outputs, **told)

        self._tie_log(outputs, told)

    def _tie_log(self, outputs: list[Any], told: dict[str, Any]) -> None:
        """The log's events: each handler takes the sitting's token and what the browser sent."""
        log, shown = self.log, self.shown

        def tie(event: Any, handler: Callable[[str | None, dict[str, Any]], Shown | Iterator[Shown]]) -> None:
            def run(request: gr.Request, event: gr.EventData, token: str | None) -> Iterator[list[Any]]:
                token = token or self.desk.sittings.open(_is_owner(request))  # pressed before the page had one
                shown = handler(token, _data(event))
                for part in (shown,) if isinstance(shown, Shown) else shown:
                    yield [token, *self._updates(part)]

            event(run, self.token, [self.token, *outputs], trigger_mode="multiple", **told)

        tie(self.home.plan, log.plan)
        tie(self.home.note, log.note)
        tie(self.home.undo, lambda token, _: log.undo(token))
        tie(self.home.search, log.search)
        tie(self.home.compare, log.compare)
        tie(shown["log_compared"].keep, lambda token, _: log.keep(token))
        tie(shown["log_entries"].remove, log.remove)
        tie(shown["log_learned"].use, log.use)

    def _leave(self, token: str | None) -> None:
        if token:
            self.desk.sittings.close(token)

    def _each(self, shown: Iterator[Shown]) -> Iterator[list[Any]]:
        for part in shown:
            yield self._updates(part)

    def _updates(self, part: Shown) -> list[Any]:
        """What changes, in the order of the outputs; the rest is left alone."""
        result: list[Any] = []
        for name in self.shown:
            value = getattr(part, name)
            result.append(gr.skip() if value is None else value)
        for value in (part.place, part.when, part.heading_deg, part.title):
            result.append(gr.skip() if value is None else gr.update(value=value))
        for index, _ in enumerate(self.downloads):
            if part.cards is not None:
                result.append(gr.update(value=str(part.cards[index]), interactive=True))
            elif part.twin is not None or part.opening is not None:
                # The card is of an older state of things now.
                result.append(gr.update(value=None, interactive=False))
            else:
                result.append(gr.skip())
        return result


def _blank(label: str) -> Any:
    """A field that may stay empty; numbers are read by the handlers, so that a decimal comma and "unknown" do too."""
    return gr.Textbox("", label=label, placeholder="unknown", max_lines=1)


def _restoring() -> str:
    """What the browser does with what it kept: the same cleaning as `_kept_values`."""
    starts, kits = json.dumps(dict(KEPT)), json.dumps([kit.name for kit in known_kits()])
    return (
        f"(kept) => {{ const starts = {starts}, values = {{...starts, ...(kept || {{}})}};"
        f" if (!{kits}.includes(values.kit)) values.kit = starts.kit;"
        " return Object.keys(starts).map((name) =>"
        " typeof values[name] === 'string' && values[name].length <= 80 ? values[name] : starts[name]); }"
    )


def _kept_values(kept: Any) -> dict[str, Any]:
    """What the browser kept, cleaned: a browser's storage is input like any other."""
    given = kept if isinstance(kept, dict) else {}
    values = {name: given.get(name, default) for name, default in KEPT}
    if values["kit"] not in {kit.name for kit in known_kits()}:
        values["kit"] = KEPT[0][1]
    for name, default in KEPT:
        if not isinstance(values[name], str) or len(values[name]) > 80:
            values[name] = default
    return values


def _is_owner(request: Any) -> bool:
    """Whether the page was opened on the computer that shows it."""
    client = getattr(request, "client", None)
    return getattr(client, "host", None) in LOOPBACK_CLIENTS


def _data(event: Any) -> dict[str, Any]:
    data = getattr(event, "_data", None)
    return data if isinstance(data, dict) else {}


def _whole(event: Any, name: str) -> int:
    """A whole number of an event; what is none becomes one that every handler refuses."""
    value = _data(event).get(name)
    return value if isinstance(value, int) and not isinstance(value, bool) else -2
