// The page: what was shown last, and what changes with each answer.

import {call, keep_token, kept_token, send, stop_sending} from './server.js';
import {ask, find, shown_by, state} from './shared.js';
import {await_framing, new_framings, show_view, views} from './views.js';
import {dials} from './dials.js';
import {brush} from './brush.js';
import {entries} from './entries.js';
import {log} from './log.js';

const NAMES = {tests: 'Test exposures', separations: 'All separations', light: 'Light of the day', tables: 'Tables',
  beside: 'Side by side', kit: 'Kit and place', log: 'Field log'};
let open_section = null, asked_version = -1;
let passing = true; // whether the status speaks of work under way, and goes with the answer

const say = (text, sorry = false) => {
  find('#status').textContent = text;
  find('#status').classList.toggle('sorry', sorry);
};

// Puts one part of an answer on the page.
const apply = (shown) => {
  if (shown.status !== undefined) {
    say(shown.status, shown.sorry === true);
    passing = shown.values?.words === undefined; // only a whole answer counts its words
  } else if ((shown.values?.words !== undefined || shown.values?.rested) && passing) say('');
  for (const [id, html] of Object.entries(shown.parts ?? {})) {
    const place = find(`#${id}`);
    if (id === 'section-body' && shown.values?.section !== open_section) continue; // another one is open by now
    if (id === 'first-framing' && shown.values?.framing_of !== state.version) continue; // another answer came since
    if (place) place.innerHTML = html; // made by the page's own templates, escaped there
    if (id === 'strip') document.body.classList.toggle('many', place.querySelectorAll('.snap').length > 1);
    if (id === 'section-body') dress(place);
    if (id === 'framings') new_framings(true);
  }
  if (shown.faults) {
    find('#faults').replaceChildren(...shown.faults.map((line) => {
      const item = document.createElement('li');
      item.textContent = line;
      return item;
    }));
  }
  const values = shown.values ?? {};
  if (values.token) keep_token(values.token);
  if (values.owner !== undefined) {
    state.owner = values.owner;
    document.body.classList.toggle('guest', !values.owner);
    find('#kept-folder').textContent = values.kept;
  }
  if (values.empty) {
    document.body.classList.add('bare');
    state.has_snap = false;
    state.pictures = {};
  }
  if (values.version !== undefined && values.version !== state.version) {
    state.version = values.version;
    state.pictures = {};
    if (shown.parts?.framings === undefined) new_framings(false);
  }
  if (values.name) find('#title').placeholder = values.name.replace(/\.[^.]*$/, '');
  if (values.current !== undefined) {
    document.body.classList.remove('bare');
    state.has_snap = true;
  }
  Object.assign(state.pictures, shown.pictures ?? {});
  dials.apply(values);
  brush.apply(values);
  entries.apply(shown);
  log.apply(values);
  if (values.version !== undefined) {
    find('#cards').replaceChildren();
    refresh_section();
  }
  if (values.cards) offer(values.cards);
  if (shown.parts?.answer) await_framing();
  if (shown.pictures || values.version !== undefined) show_view();
};

// Lengths and colours that come as data, for the style of the page allows none in its markup.
const dress = (place) => {
  for (const one of place.querySelectorAll('[data-colour]')) one.style.setProperty('--colour', one.dataset.colour);
};

// ---- snaps -----------------------------------------------------------------------------------------------------------

let line = Promise.resolve(); // one after another, in the order given
let stops = 0;
const stop = () => {
  stops += 1;
  stop_sending();
  ask('stop');
};
const give = (files) => {
  const heard = stops;
  find('#faults').replaceChildren();
  line = line.then(async () => {
    const given = [], refused = [];
    for (const [index, file] of files.entries()) {
      if (stops > heard) break;
      const which = files.length > 1 ? `${index + 1} of ${files.length}, ` : '';
      try { given.push(await send(file, (text) => say(which + text))); } catch (why) { refused.push(why); }
    }
    if (stops > heard) {
      say('Stopped. No snap was read.');
      return;
    }
    if (given.length) await call('give', {given}, (shown) => {
      if (shown.faults) shown.faults = [...refused, ...shown.faults];
      apply(shown);
    });
    if (refused.length) apply({faults: [...new Set([...refused,
      ...[...document.querySelectorAll('#faults li')].map((one) => one.textContent)])]});
    if (refused.length && !given.length) say('No photo was taken in.', true);
  });
};

document.addEventListener('change', (event) => {
  const input = event.target;
  if (input.type !== 'file' || !input.closest('.rail, .start')) return;
  const files = [...input.files];
  input.value = ''; // the same file may be given again
  if (files.length) give(files);
});
document.addEventListener('dragover', (event) => {
  event.preventDefault();
  document.body.classList.add('over');
});
document.addEventListener('dragleave', () => document.body.classList.remove('over'));
document.addEventListener('drop', (event) => {
  event.preventDefault();
  document.body.classList.remove('over');
  const files = [...(event.dataTransfer?.files ?? [])];
  if (files.length) give(files);
});

document.addEventListener('click', (event) => {
  const button = event.target.closest('button');
  if (!button) return;
  if (button.dataset.index !== undefined) {
    brush.discard();
    ask('pick', {index: Number(button.dataset.index)});
    if (button.classList.contains('pick')) scrollTo({top: 0, behavior: 'smooth'});
  }
  if (button.dataset.remove !== undefined) ask('drop', {index: Number(button.dataset.remove)});
  if (button.dataset.section) toggle(button.dataset.section);
  if (button.dataset.look) look(button.dataset.look);
  if (button.id === 'close-section') toggle(open_section);
  if (button.id === 'empty') ask('empty');
  if (button.id === 'stop') stop();
});

// ---- sections, one at a time -------------------------------------------------------------------------------------------

const toggle = (name) => {
  const before = open_section;
  open_section = name === open_section ? null : name;
  for (const button of document.querySelectorAll('[data-section]'))
    button.setAttribute('aria-expanded', String(button.dataset.section === open_section));
  const section = find('#section');
  section.hidden = open_section === null;
  if (open_section === null) {
    find(`[data-section=${before}]`)?.focus();
    return;
  }
  find('#section-title').textContent = NAMES[open_section];
  find('#kit').hidden = open_section !== 'kit';
  find('#log').hidden = open_section !== 'log';
  find('#section-body').replaceChildren();
  asked_version = -1;
  refresh_section();
  section.scrollIntoView({block: 'start', behavior: matchMedia('(prefers-reduced-motion: reduce)').matches
    ? 'auto' : 'smooth'});
  section.focus({preventScroll: true});
};

const refresh_section = () => {
  if (open_section === null || open_section === 'kit' || open_section === 'log') return;
  if (!state.has_snap || asked_version === state.version) return;
  asked_version = state.version;
  if (open_section === 'beside') ask('beside'); else ask('section', {name: open_section});
};

// ---- card --------------------------------------------------------------------------------------------------------------

const offer = (cards) => {
  find('#cards').replaceChildren(...cards.map((one) => {
    const link = document.createElement('a');
    link.className = 'button';
    link.href = one.address;
    link.download = one.name;
    link.textContent = `Save ${one.kind}`;
    return link;
  }));
};
find('#card').addEventListener('submit', (event) => {
  event.preventDefault();
  ask('card', {title: find('#title').value, with_place: find('#with-place').checked});
});
find('#make-field-page').addEventListener('click', () => ask('field_page', {with_place: find('#with-place').checked}));

// ---- look --------------------------------------------------------------------------------------------------------------

const look = (name) => {
  document.documentElement.dataset.look = name;
  localStorage.setItem('irpreview-look', name);
  mark_look();
};
const mark_look = () => {
  for (const button of document.querySelectorAll('[data-look]'))
    if (button.tagName === 'BUTTON')
      button.setAttribute('aria-pressed', String(button.dataset.look === document.documentElement.dataset.look));
};

// ---- keys --------------------------------------------------------------------------------------------------------------

document.addEventListener('keydown', (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) {
    if (brush.key(event)) event.preventDefault();
    return;
  }
  if (event.key === 'Escape' && document.body.classList.contains('busy')) stop();
  const typing = event.target.closest('input:not([type=range], [type=radio], [type=checkbox]), select, textarea');
  if (typing || !state.has_snap) return;
  if (/^[1-7]$/.test(event.key)) {
    find(`#views [aria-keyshortcuts="${event.key}"]`).click();
    event.preventDefault();
  } else if (brush.key(event)) event.preventDefault();
});

shown_by(apply);
dress(document.body);
mark_look();
views.begin();
dials.begin();
brush.begin();
entries.begin();
log.begin();
await call('open', {token: kept_token()}, apply);
document.body.dataset.opened = 'yes'; // for whoever waits for that (the tests do)
