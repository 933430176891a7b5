// The field log: a plan, its frame, a comparison, and the list.

import {ask, find} from './shared.js';
import {send} from './server.js';

const home = find('#home'), form = find('#note'), which = form.querySelector('.which');
const which_words = which.textContent;
let number = null, before = {};

const inputs = () => [...form.querySelectorAll('[data-field]')];
const read = (input) => input.type === 'checkbox' ? input.checked : input.value;
const text = (name) => home.querySelector(`[data-field=${name}]`).value;

const fill = (values, entry) => {
  number = entry;
  for (const input of inputs()) {
    const value = values[input.dataset.field];
    if (input.type === 'checkbox') input.checked = value === true;
    else input.value = value ?? (input.tagName === 'SELECT' ? input.options[0].value : '');
    before[input.dataset.field] = read(input);
  }
  form.querySelector('input.frame').value = '';
  form.querySelector('output.frame').textContent = '';
  form.querySelector('.only-new').hidden = entry !== null;
  which.textContent = entry === null ? which_words : `The frame of number ${entry}. What you leave stays as it is.`;
  form.querySelector('[data-log=note]').textContent = entry === null ? 'Put it in the log' : `Change number ${entry}`;
};

const file = async (kind) => {
  const given = home.querySelector(`input.${kind}`).files[0];
  if (!given) return null;
  const news = (words) => { home.querySelector(`output.${kind}`).textContent = words; };
  try {
    const sent = await send(given, news);
    news('');
    return sent;
  } catch (why) {
    news(why);
    return undefined;
  }
};

const note = async () => {
  const fields = {};
  for (const input of inputs()) {
    const name = input.dataset.field, value = read(input);
    if (number === null ? value !== '' && value !== false : value !== before[name]) fields[name] = value;
  }
  const given = await file('frame');
  if (given !== undefined)
    ask('log_note', {number, fields, given, at_snap: number === null && form.querySelector('.at-snap').checked});
};

const DO = {
  plan: () => ask('log_plan', {place_name: text('place_name'), notes: text('notes')}),
  note,
  clear: () => fill({}, null),
  undo: () => ask('log_undo'),
  search: () => ask('log_search', {words: text('words'), since: text('since'), until: text('until')}),
  keep: () => ask('log_keep'),
  fill: (entry) => {
    fill(JSON.parse(entry.dataset.values), Number(entry.dataset.number));
    form.scrollIntoView({block: 'center'});
    form.querySelector('[data-field=taken]').focus();
  },
  remove: (entry) => ask('log_remove', {number: Number(entry.dataset.number)}),
};

export const log = {
  begin: () => {
    fill({}, null);
    find('#log').addEventListener('click', (event) => {
      const button = event.target.closest('button[data-log]');
      if (button) DO[button.dataset.log](button.closest('[data-number]'));
    });
    find('#log').addEventListener('change', async (event) => {
      const {use} = event.target.dataset;
      if (use) ask('log_use', {what: use, on: event.target.checked});
      if (event.target.classList.contains('pair') && event.target.files?.length) {
        const given = await file('pair');
        event.target.value = '';
        if (given) ask('log_compare', {given});
      }
    });
  },
  apply: (values) => {
    if (values.log_closed) find('#log').classList.add('closed');
    if (!values.log_news) return;
    const {text: words, sorry, noted} = values.log_news;
    find('#log-news').textContent = words;
    find('#log-news').classList.toggle('sorry', sorry);
    if (words) find('#log-news').scrollIntoView({block: 'nearest'});
    if (noted) fill({}, null);
  },
};
