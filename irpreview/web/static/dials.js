// Wind and shutter: the picture follows while a slider moves, setting and verdict when it rests.

import {ask, find, state} from './shared.js';
import {current, set_view} from './views.js';

const words = find('#page-words').dataset;
const scales = {beaufort: JSON.parse(words.winds), metres: JSON.parse(words.windsMetres)}, times = JSON.parse(words.times);
let scale = localStorage.getItem('irpreview-wind') === 'metres' ? 'metres' : 'beaufort';
let number = 0, shutter = -1, busy = false, waiting = false, rest = null;
let still = true; // from a move until it is sent, what an older answer says of the sliders is out of date

const say = () => {
  const winds = scales[scale], wind = find('#wind'), time = find('#shutter');
  find('#wind-says').textContent = winds[wind.value];
  wind.setAttribute('aria-valuetext', winds[wind.value]);
  const text = typeof shutter === 'string' ? shutter : shutter >= 0 ? times[shutter] : find('#shutter-says').dataset.text;
  find('#shutter-says').textContent = shutter === -1 ? `${text}, recommended` : text;
  time.setAttribute('aria-valuetext', text ?? '');
  find('#recommended').hidden = shutter === -1;
};

// The wind by force or by speed, as one likes.
const show_scale = () => {
  const button = find('#wind-scale'), metres = scale === 'metres';
  button.textContent = metres ? 'm/s' : 'Beaufort';
  button.setAttribute('aria-label', metres ? 'Scale of the wind: m/s. Change to Beaufort' : 'Scale of the wind: Beaufort. Change to m/s');
  button.title = metres ? 'Change to Beaufort' : 'Change to m/s';
  for (const step of document.querySelectorAll('[data-beaufort]')) step.textContent = step.dataset[scale];
  say();
};

const values = () => ({wind: Number(find('#wind').value), shutter, number});

// One move at a time is worked on; of those that come meanwhile the last one follows.
const move = async () => {
  if (busy) { waiting = true; return; }
  busy = true;
  await ask('move', values());
  busy = false;
  if (waiting) { waiting = false; move(); }
};
const settle = (wait_ms) => {
  clearTimeout(rest);
  rest = setTimeout(() => { still = true; ask('settle', values()); }, wait_ms);
};
const moved = () => {
  number += 1; // counts what the hand does: an answer to an older state is left out, one to the newest never
  say();
  if (!state.has_snap) return;
  still = false;
  if (current() !== 'movement') set_view('movement');
  move();
  settle(250);
};

export const dials = {
  begin: () => {
    find('#wind').addEventListener('input', moved);
    find('#wind-scale').addEventListener('click', () => {
      scale = scale === 'metres' ? 'beaufort' : 'metres';
      localStorage.setItem('irpreview-wind', scale);
      show_scale();
    });
    find('#shutter').addEventListener('input', () => { shutter = Number(find('#shutter').value); moved(); });
    find('#recommended').addEventListener('click', () => { shutter = -1; number += 1; find('#time').value = ''; ask('settle', values()); });
    find('#asked').addEventListener('submit', (event) => {
      event.preventDefault();
      const text = find('#time').value.trim();
      if (!text) return;
      shutter = text;
      number += 1;
      ask('settle', values());
    });
    show_scale();
  },
  apply: (given) => {
    if (given.wind !== undefined && rest_is_over()) find('#wind').value = given.wind;
    if (given.shutter !== undefined && still) {
      const {step, text, recommended} = given.shutter;
      find('#shutter-says').dataset.text = text;
      if (recommended) shutter = -1;
      else if (shutter === -1) shutter = text;
      if (typeof shutter === 'string' || shutter === -1) find('#shutter').value = step;
      if (typeof shutter === 'string') shutter = text;
    }
    if (given.wind !== undefined || given.shutter !== undefined) say();
  },
};
const rest_is_over = () => !busy && still;
