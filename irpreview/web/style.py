"""How the page looks: paper and ink, one red, light and dark. No font or picture comes from outside."""

from __future__ import annotations

from typing import Any

from irpreview.web.scripts import SHARED_JS


def theme() -> Any:
    """The framework's plainest theme in our colours, with fonts that every machine has."""
    import gradio as gr

    return gr.themes.Base(
        font=["system-ui", "-apple-system", "Segoe UI", "Roboto", "sans-serif"],
        font_mono=["ui-monospace", "Consolas", "monospace"],
        radius_size="sm",
    ).set(
        body_background_fill="#f7f5f0",
        body_background_fill_dark="#171614",
        body_text_color="#211f1c",
        body_text_color_dark="#ece7dd",
        body_text_color_subdued="#595349",
        body_text_color_subdued_dark="#b9b1a3",
        background_fill_primary="#fffdf8",
        background_fill_primary_dark="#211f1c",
        background_fill_secondary="#f1ede4",
        background_fill_secondary_dark="#1c1a18",
        block_background_fill="transparent",
        block_background_fill_dark="transparent",
        block_border_width="0px",
        block_border_width_dark="0px",
        block_label_background_fill="transparent",
        block_label_background_fill_dark="transparent",
        block_label_text_color="#453f37",
        block_label_text_color_dark="#d8d0c3",
        block_title_text_color="#453f37",
        block_title_text_color_dark="#d8d0c3",
        block_info_text_color="#595349",
        block_info_text_color_dark="#b9b1a3",
        block_padding="0px",
        block_shadow="none",
        border_color_primary="#8d8475",
        border_color_primary_dark="#7d7567",
        input_background_fill="#fffdf8",
        input_background_fill_dark="#211f1c",
        input_border_color="#8d8475",
        input_border_color_dark="#7d7567",
        input_border_width="1px",
        input_placeholder_color="#6b6458",
        input_placeholder_color_dark="#a59d8f",
        button_primary_background_fill="#7a2e1d",
        button_primary_background_fill_dark="#e3a892",
        button_primary_background_fill_hover="#5f2215",
        button_primary_background_fill_hover_dark="#f0bda9",
        button_primary_text_color="#ffffff",
        button_primary_text_color_dark="#241410",
        button_secondary_background_fill="#e9e3d6",
        button_secondary_background_fill_dark="#35312b",
        button_secondary_background_fill_hover="#ddd5c4",
        button_secondary_background_fill_hover_dark="#433e36",
        button_secondary_text_color="#211f1c",
        button_secondary_text_color_dark="#ece7dd",
        color_accent="#7a2e1d",
        link_text_color="#7a2e1d",
        link_text_color_dark="#e3a892",
        checkbox_background_color_selected="#7a2e1d",
        checkbox_border_color="#6b6458",
    )


HEAD = f"""
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<script>{SHARED_JS}</script>
"""

CSS = """
:root { --page: #f7f5f0; --ink: #211f1c; --quiet: #595349; --paper: #fffdf8; --line: #cfc7b8; --red: #7a2e1d;
  --wash: #f1ede4; --good: #1d5c43; --bad: #8c2b1a; --open: #5b4a12; }
.dark { --page: #171614; --ink: #ece7dd; --quiet: #b9b1a3; --paper: #211f1c; --line: #4a443b; --red: #e3a892;
  --wash: #1c1a18; --good: #93d3b5; --bad: #f3a893; --open: #e6cf86; }
.gradio-container { max-width: none !important; color: var(--ink); overflow: clip !important; }
.gradio-container .main { padding: 1.2rem 1.6rem 4rem !important; max-width: 62rem !important;
  margin: 0 auto !important; box-sizing: border-box; }
@media (max-width: 700px) {
  .gradio-container .main { padding: .8rem .8rem 3rem !important; }
}
.gradio-container .gap { gap: .9rem; }
footer { display: none !important; }
.gradio-container:not(:has(#snaps .snap)) .later { display: none !important; }
.gradio-container:has(#snaps .snap) .before { display: none !important; }
.irp { font-size: 1rem; line-height: 1.5; color: var(--ink); }
.irp p { margin: .35rem 0; max-width: 44rem; }
.irp h1 { font: 600 1.9rem/1.2 Georgia, "Times New Roman", serif; margin: .2rem 0 .3rem; }
.irp h2 { font: 600 1.35rem/1.25 Georgia, "Times New Roman", serif; margin: 1.6rem 0 .2rem; padding-top: 1.2rem;
  border-top: 1px solid var(--line); }
.irp h3 { font: 600 1.02rem/1.3 Georgia, "Times New Roman", serif; margin: 1rem 0 .2rem; }
.irp .quiet { color: var(--quiet); }
.irp .small { font-size: .9rem; }
.irp img { display: block; max-width: 100%; height: auto; border-radius: 3px; }
.irp ul, .irp ol { margin: .3rem 0; padding-left: 1.3rem; max-width: 44rem; list-style: revert; }
.irp li { margin: .25rem 0; }
.irp button, .irp .button { font: inherit; color: var(--ink); background: var(--wash); border: 1px solid #8d8475;
  border-radius: 4px; padding: .4rem .8rem; cursor: pointer; min-height: 2.5rem; }
.irp button:hover { border-color: var(--ink); }
.irp button.go { background: var(--red); color: var(--paper); border-color: var(--red); }
.irp button:focus-visible, .irp input:focus-visible, .irp summary:focus-visible { outline: 3px solid var(--red);
  outline-offset: 2px; }
.irp .row { display: flex; flex-wrap: wrap; gap: .5rem .7rem; align-items: center; margin: .5rem 0; }
.irp fieldset { border: 0; padding: 0; margin: .5rem 0; }
.irp legend { font-weight: 600; padding: 0; margin-bottom: .2rem; }
.irp input[type=range] { accent-color: var(--red); width: 100%; height: 2rem; }
.irp table { border-collapse: collapse; width: 100%; max-width: 48rem; font-variant-numeric: tabular-nums; }
.irp th, .irp td { text-align: left; padding: .3rem .6rem .3rem 0; border-bottom: 1px solid var(--line);
  vertical-align: top; }
.irp caption { text-align: left; color: var(--quiet); padding: .2rem 0; }
.irp .scroll { overflow-x: auto; }
.irp details { margin: .5rem 0; }
.irp summary { cursor: pointer; color: var(--red); min-height: 1.8rem; }
.irp .status { min-height: 1.6rem; margin: .4rem 0; }
.irp .sorry { border-left: 4px solid var(--bad); padding: .2rem 0 .2rem .7rem; }
/* files */
.irp .give { display: grid; gap: .5rem; }
.irp .drop { position: relative; display: grid; place-content: center; text-align: center; gap: .2rem;
  min-height: 6.8rem; padding: .6rem; border: 2px dashed #8d8475; border-radius: 6px; background: var(--paper);
  cursor: pointer; }
.irp .drop.over { border-color: var(--red); background: var(--wash); }
.irp .drop .big { font-family: inherit; font-size: 1.1rem; margin: 0; }
.irp .drop input, .irp .take input { position: absolute; inset: 0; width: 100%; height: 100%; opacity: 0;
  cursor: pointer; font-size: 0; }
.irp .drop:has(input:focus-visible), .irp .take:has(input:focus-visible) { outline: 3px solid var(--red);
  outline-offset: 2px; }
.irp .take { position: relative; display: none; place-content: center; }
@media (pointer: coarse) { .irp .take { display: grid; } }
.irp .give output { overflow-wrap: anywhere; }
.irp output:empty { display: none; }
/* snaps */
.irp .snaps { list-style: none; padding: 0; display: grid; gap: .8rem; max-width: none;
  grid-template-columns: repeat(auto-fill, minmax(15rem, 1fr)); }
.irp .snaps li { margin: 0; }
.irp .snaps button { display: grid; grid-template-columns: 6rem 1fr; gap: .7rem; width: 100%; text-align: left;
  padding: .45rem; align-items: start; height: 100%; }
.irp .snaps img { width: 6rem; height: 4.5rem; object-fit: cover; }
.irp .snaps button[aria-pressed=true] { border: 2px solid var(--red); }
.irp .snaps .name { font-weight: 600; overflow-wrap: anywhere; display: block; }
.irp .snaps .figure { font: 600 1.15rem/1.2 Georgia, serif; display: block; }
/* two pictures in one */
.irp .stage { position: relative; overflow: hidden; border-radius: 3px; max-width: 100%;
  width: fit-content; margin: 0 auto; }
.irp .stage img { max-height: 78vh; width: auto; max-width: 100%; }
.irp .fit { width: fit-content; max-width: 100%; margin: .6rem auto; }
.irp .twin { margin: .6rem 0; }
.irp .twin .over { position: absolute; inset: 0; width: 100%; height: 100%; max-height: none;
  clip-path: inset(0 calc(100% - var(--cut, 50%)) 0 0); }
.irp .twin .seam { position: absolute; top: 0; bottom: 0; left: var(--cut, 50%); width: 2px; background: #fff;
  box-shadow: 0 0 0 1px #0008; pointer-events: none; }
.irp .twin .seam::after { content: ""; position: absolute; top: 50%; left: -14px; width: 30px; height: 30px;
  margin-top: -15px; border-radius: 50%; background: #fffdf8; box-shadow: 0 0 0 1px #0008; }
.irp .twin .stage input { position: absolute; inset: 0; width: 100%; height: 100%; margin: 0; opacity: 0;
  cursor: ew-resize; touch-action: pan-y; }
.irp .twin .stage:has(input:focus-visible) { outline: 3px solid var(--red); outline-offset: 2px; }
.irp .ends { display: flex; justify-content: space-between; color: var(--quiet); font-size: .9rem; }
/* correcting */
.irp .brush .stage canvas { position: absolute; inset: 0; width: 100%; height: 100%; cursor: crosshair;
  touch-action: none; }
.irp .choices { display: flex; flex-wrap: wrap; gap: .4rem; }
.irp .choices label { display: inline-flex; gap: .45rem; align-items: center; padding: .3rem .6rem; min-height: 2.4rem;
  border: 1px solid #8d8475; border-radius: 4px; cursor: pointer; background: var(--paper); }
.irp .choices label:has(input:checked) { border: 2px solid var(--red); font-weight: 600; }
.irp .choices label:has(input:focus-visible) { outline: 3px solid var(--red); outline-offset: 2px; }
.irp input[type=checkbox], .irp input[type=radio] { appearance: auto !important; -webkit-appearance: auto !important;
  accent-color: var(--red); width: 1.15rem; height: 1.15rem; flex: none; margin: 0 .2rem 0 0; vertical-align: -.2rem; }
.irp .row label { display: inline-flex; align-items: center; gap: .4rem; min-height: 2.4rem; }
.irp select { font: inherit; color: var(--ink); background: var(--paper); border: 1px solid #8d8475; border-radius: 4px;
  padding: .35rem .5rem; min-height: 2.4rem; max-width: 100%; }
.irp .swatch { display: inline-block; width: 1.5rem; height: 1.5rem; border-radius: 3px; text-align: center;
  font: 700 .95rem/1.5rem system-ui, sans-serif; border: 1px solid #0006; }
/* sliders */
.irp .dials { display: grid; gap: .9rem 2rem; grid-template-columns: repeat(auto-fit, minmax(16rem, 1fr)); }
.irp .dials label { display: block; font-weight: 600; }
.irp .dials output { display: block; min-height: 3rem; }
/* layers by their number */
.irp .key { list-style: none; padding: 0; max-width: none; display: grid; gap: .2rem 1rem; font-size: .9rem;
  grid-template-columns: repeat(auto-fill, minmax(15rem, 1fr)); }
.irp .key li { margin: 0; }
.irp .key .number { display: inline-block; width: 1.5rem; height: 1.5rem; border-radius: 50%; text-align: center;
  font: 700 .85rem/1.5rem system-ui, sans-serif; background: var(--ink); color: var(--paper); }
/* setting */
.irp .big { font: 600 1.7rem/1.25 Georgia, serif; margin: .4rem 0 .1rem; }
.irp .lead { font: 600 1.2rem/1.35 Georgia, serif; }
.irp .says { display: inline-block; font-weight: 600; padding: 0 .35rem; border: 1px solid currentColor;
  border-radius: 3px; white-space: nowrap; }
.irp .holds { color: var(--good); } .irp .merges { color: var(--bad); } .irp .cannot_tell { color: var(--open); }
.irp .hours { display: grid; gap: 2px; }
.irp .hours .hour { display: grid; grid-template-columns: 4rem 1fr; gap: .6rem; align-items: center; }
.irp .hours .beam { display: flex; gap: .5rem; align-items: center; font-size: .9rem; white-space: nowrap; }
.irp .hours .bar { background: var(--red); border-radius: 2px; height: 1.1rem; flex: none; }
.irp .hours .none { color: var(--quiet); font-size: .9rem; }
/* frames brought home */
#entries { overflow: visible !important; }
#brought-home { border-top: 1px solid var(--line); padding-top: 1rem; overflow: visible !important; }
#brought-home > .label-wrap span { font: 600 1.35rem/1.25 Georgia, "Times New Roman", serif; }
.irp .home fieldset { margin: 1.4rem 0; min-width: 0; }
.irp .home legend { font: 600 1.02rem/1.3 Georgia, "Times New Roman", serif; }
.irp input::file-selector-button { font: inherit; color: var(--ink); background: var(--wash);
  border: 1px solid #8d8475; border-radius: 4px; padding: .4rem .8rem; min-height: 2.4rem; margin-right: .6rem; }
/* news stay in sight: they answer what was pressed further down */
#status, #log-news { position: sticky; top: 0; z-index: 20; background: var(--page); }
#log-news { z-index: 21; }
.irp .fields { display: grid; gap: .6rem 1rem; grid-template-columns: repeat(auto-fill, minmax(14rem, 1fr)); }
.irp .field { display: grid; gap: .2rem; align-content: end; margin: .3rem 0; }
.irp .field input:not([type=file]), .irp .field select { font: inherit; color: var(--ink); background: var(--paper);
  border: 1px solid #8d8475; border-radius: 4px; padding: .35rem .5rem; min-height: 2.4rem; width: 100%;
  box-sizing: border-box; min-width: 0; }
.irp .field input::placeholder { color: var(--quiet); opacity: 1; }
.irp .field input[type=file] { color: var(--ink); max-width: 100%; }
.irp .entries { list-style: none; padding: 0; max-width: none; }
.irp .entries li { display: flex; flex-wrap: wrap; gap: .3rem 1rem; justify-content: space-between;
  align-items: start; padding: .5rem 0; border-bottom: 1px solid var(--line); }
.irp .entries li > div:first-child { flex: 1 1 20rem; overflow-wrap: anywhere; }
.irp .entries .row { margin: 0; }
.gradio-container:not(:has(#snaps .snap)) .with-snap { display: none !important; }
.gradio-container:has(#log-entries .guest) #home { display: none !important; }
.irp .hidden { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
.gradio-container .form { background: transparent !important; border: 0 !important; gap: .9rem !important; }
.gradio-container .form { align-items: end; }
.gradio-container .label-wrap { min-height: 2.5rem; }
.gradio-container .label-wrap span { color: var(--red); }
.gradio-container .block.padded:not(.form) { background: transparent; }
"""
