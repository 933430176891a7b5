// One picture, several views of it.

import {ask, find, state} from './shared.js';
import {brush} from './brush.js';

let now = 'infrared', wanted = null, framing = 0;

const WORDS = {infrared: 'The scene in infrared, black and white', colour: 'The snap as taken, in colour',
  half: 'The snap in colour on the left, infrared on the right', movement: 'The infrared picture with its movement',
  separation: 'The infrared picture with its layers numbered and the lines between them; the legend says the same',
  map: 'The snap with what is where marked by colour and letter', framings: 'One of the framings, in infrared'};

// What a view is made of; a view that is not there yet is asked for, once for each state of the answer.
// On a narrow screen figures and words in the picture are drawn larger.
const narrow = matchMedia('(max-width: 820px)');
const layers = () => {
  if (now === 'half') return ['infrared', 'colour'];
  if (now === 'framings') return ['framing0', `framing${framing}`];
  return ['separation', 'map'].includes(now) && narrow.matches ? [`${now}_narrow`] : [now];
};

export const current = () => now;

export const set_view = (name) => {
  now = name;
  for (const button of document.querySelectorAll('#views button'))
    button.setAttribute('aria-pressed', String(button.dataset.view === name));
  show_view();
};

// While a framing is looked at the focus is that of its lens.
const focus_of_the_view = () => {
  const row = find('#answer .focus');
  if (!row) return;
  row.dataset.own ??= row.textContent;
  const framed = now === 'framings' ? find(`#framings [data-framed="${framing}"]`)?.dataset.focus : '';
  const words = framed || row.dataset.own;
  if (row.textContent !== words) row.textContent = words;
};

export const show_view = () => {
  document.body.dataset.view = now;
  focus_of_the_view();
  find('#tools').hidden = now !== 'map' || !state.has_snap;
  find('#dials').hidden = (now === 'map' || now === 'framings') && state.has_snap;
  find('#legend').hidden = now !== 'separation';
  find('#framings').hidden = now !== 'framings';
  if (!state.has_snap) return;
  const missing = layers().find((name) => !(name in state.pictures));
  if (missing !== undefined) {
    const key = `${missing} ${state.version}`;
    if (wanted !== key) {
      wanted = key;
      ask('view', {name: missing}).then(() => { if (wanted === key) wanted = null; });
    }
    return; // the picture before stays until the new one is here
  }
  const under = find('#under'), over = find('#over'), half = now === 'half';
  const base = half ? 'infrared' : layers().at(-1);
  under.onload = () => {
    find('#frame').style.setProperty('--ratio', under.naturalWidth / under.naturalHeight);
    brush.fit();
  };
  if (under.getAttribute('src') !== state.pictures[base]) under.src = state.pictures[base];
  under.alt = WORDS[now];
  under.hidden = false;
  under.dataset.view = now;
  over.hidden = !half;
  if (half) over.src = state.pictures.colour;
  find('#seam').hidden = find('#seam-at').hidden = !half;
  find('#paint').hidden = now !== 'map';
  brush.fit();
};

const choose_framing = (number) => {
  framing = number;
  for (const one of document.querySelectorAll('#framings [data-framing]'))
    one.setAttribute('aria-pressed', String(Number(one.dataset.framing) === number));
  for (const one of document.querySelectorAll('#framings [data-framed]'))
    one.hidden = Number(one.dataset.framed) !== number;
  show_view();
};

// A new list of framings begins with the best; until it is here the old one is not shown beside another answer.
export const new_framings = (come) => {
  framing = 0;
  if (come) return;
  const words = document.createElement('p');
  words.className = 'quiet';
  words.textContent = 'Looking for framings.';
  find('#framings').replaceChildren(words);
};

// The row of the first framing is filled once the answer rests: whoever moves a slider does not wait for it.
const REST_MS = 400;
let resting = null;
export const await_framing = () => {
  clearTimeout(resting);
  resting = setTimeout(() => {
    if (find('#first-framing:empty')) ask('first_framing', {version: state.version});
  }, REST_MS);
};

const cut = () => {
  const value = find('#seam-at').value;
  find('#frame').style.setProperty('--cut', `${value}%`);
  find('#seam-at').setAttribute('aria-valuetext', `${value} percent colour, from the left`);
};

export const views = {
  begin: () => {
    find('#views').addEventListener('click', (event) => {
      const button = event.target.closest('button[data-view]');
      if (button) set_view(button.dataset.view);
    });
    find('#framings').addEventListener('click', (event) => {
      const button = event.target.closest('button[data-framing]');
      if (button) choose_framing(Number(button.dataset.framing));
    });
    find('#answer').addEventListener('click', (event) => {
      if (!event.target.closest('[data-first-framing]')) return;
      set_view('framings');
      choose_framing(0);
      find('#views [data-view=framings]').focus({preventScroll: true}); // the row itself is not shown there
      find('#mat').scrollIntoView({block: 'nearest'});
    });
    find('#seam-at').addEventListener('input', cut);
    narrow.addEventListener('change', show_view);
    cut();
  },
};
