"""What the page's parts do in the browser; each runs once when its part is laid out.

`trigger(name, data)` calls the handler that `page` ties to that name; `watch` runs when a part is drawn anew.
"""

from __future__ import annotations

SHARED_JS = """
window.irpreview = {
  // Sends one file; resolves to its number, or fails with a sentence. `news(text)` is told how far it is.
  send: (file, address, limit_mb, news) => new Promise((done, fail) => {
    const mb = file.size / 1048576;
    if (mb > limit_mb) { fail(`it has ${Math.ceil(mb)} MB; one file may have ${limit_mb}.`); return; }
    const ask = new XMLHttpRequest();
    ask.open('POST', address);
    ask.setRequestHeader('content-type', 'application/octet-stream');
    ask.setRequestHeader('x-file-name', encodeURIComponent(file.name));
    ask.upload.onprogress = (event) => {
      if (event.lengthComputable) news(`${file.name}: ${Math.round(100 * event.loaded / event.total)} % here.`);
    };
    ask.onload = () => ask.status === 200 ? done(JSON.parse(ask.responseText).given)
      : fail(ask.responseText || 'it was refused.');
    ask.onerror = () => fail('the connection to the page broke; is it still running?');
    ask.send(file);
  }),
};
"""
"""Part of the page's head: what several parts use."""

GIVING_JS = """
const box = element.querySelector('.give');
const limit_mb = Number(box.dataset.limitMb), address = box.dataset.address;
const news = (text) => { element.querySelector('output').textContent = text; };
const give = async (files) => {
  const given = [], refused = [];
  for (const [index, file] of files.entries()) {
    const which = files.length > 1 ? `${index + 1} of ${files.length}, ` : '';
    try { given.push(await window.irpreview.send(file, address, limit_mb, (text) => news(which + text))); }
    catch (why) { refused.push(`${file.name}: ${why}`); }
  }
  news(refused.join(' '));
  if (given.length) trigger('give', {given});
};
let line = Promise.resolve();  // one after another, in the order given
element.addEventListener('change', (event) => {
  if (event.target.type !== 'file') return;
  const files = [...event.target.files];
  event.target.value = '';  // the same file may be given again
  if (files.length) line = line.then(() => give(files));
});
element.addEventListener('dragover', (event) => element.querySelector('.drop').classList.add('over'));
for (const name of ['dragleave', 'drop'])
  element.addEventListener(name, () => element.querySelector('.drop').classList.remove('over'));
"""

SNAPS_JS = """
element.addEventListener('click', (event) => {
  const button = event.target.closest('button[data-index]');
  if (button) trigger('select', {index: Number(button.dataset.index)});
});
"""

BRUSH_JS = """
let strokes = [], current = null;
const canvas = () => element.querySelector('canvas');
const draw = () => {
  const c = canvas(); if (!c) return;
  const w = c.clientWidth, h = c.clientHeight;
  c.width = w; c.height = h;
  const pen = c.getContext('2d');
  pen.lineCap = 'round'; pen.lineJoin = 'round'; pen.globalAlpha = 0.85;
  for (const s of strokes) {
    pen.strokeStyle = s.colour; pen.lineWidth = Math.max(2, s.width * w);
    pen.beginPath();
    s.points.forEach(([x, y], i) => i ? pen.lineTo(x * w, y * h) : pen.moveTo(x * w, y * h));
    if (s.points.length === 1) pen.lineTo(s.points[0][0] * w + 0.1, s.points[0][1] * h);
    pen.stroke();
  }
};
const at = (event) => {
  const box = canvas().getBoundingClientRect();
  const inside = (v) => Math.min(1, Math.max(0, v));
  return [inside((event.clientX - box.left) / box.width), inside((event.clientY - box.top) / box.height)];
};
element.addEventListener('pointerdown', (event) => {
  if (event.target.tagName !== 'CANVAS') return;
  event.preventDefault();
  event.target.setPointerCapture(event.pointerId);
  const chosen = element.querySelector('input[name=brush-class]:checked');
  current = {class_name: chosen.value, colour: chosen.dataset.colour,
             width: Number(element.querySelector('.width').value) / 100, points: [at(event)]};
  strokes.push(current); draw();
});
element.addEventListener('pointermove', (event) => {
  if (!current) return;
  const [x, y] = at(event), [px, py] = current.points[current.points.length - 1];
  if (Math.hypot(x - px, y - py) > 0.004) { current.points.push([x, y]); draw(); }
});
const stop = () => { current = null; };
element.addEventListener('pointerup', stop);
element.addEventListener('pointercancel', stop);
window.addEventListener('resize', draw);
watch('value', () => { strokes = []; current = null; draw(); });
element.addEventListener('click', (event) => {
  const button = event.target.closest('button[data-do]');
  if (!button) return;
  if (button.dataset.do === 'back') { strokes.pop(); draw(); }
  if (button.dataset.do === 'undo') trigger('undo', {});
  if (button.dataset.do === 'area') trigger('edit', {
    area: Number(element.querySelector('.area').value), class_name: element.querySelector('.is').value});
  if (button.dataset.do === 'use') trigger('apply', {
    grow: element.querySelector('.grow').checked,
    strokes: strokes.map((s) => ({class_name: s.class_name, width: s.width, points: s.points}))});
});
"""

TWIN_JS = """
const set = (value) => {
  const figure = element.querySelector('.twin'), input = element.querySelector('input[type=range]');
  if (!figure) return;
  figure.style.setProperty('--cut', value + '%');
  input.value = value;
  input.setAttribute('aria-valuetext', value == 0 ? 'infrared only' : value == 100 ? 'photograph only'
    : value + ' percent photograph, from the left');
};
element.addEventListener('input', (event) => { if (event.target.type === 'range') set(event.target.value); });
element.addEventListener('click', (event) => {
  const button = event.target.closest('button[data-cut]');
  if (button) set(button.dataset.cut);
});
"""

DIALS_JS = """
const parts = () => ({
  dials: element.querySelector('.dials'), wind: element.querySelector('#dial-wind'),
  time: element.querySelector('#dial-time'), unknown: element.querySelector('.unknown')});
const say = () => {
  const p = parts();
  const wind = p.unknown.checked ? 'not known: anything from still air to a fresh breeze'
    : JSON.parse(p.dials.dataset.winds)[p.wind.value];
  const time = JSON.parse(p.dials.dataset.times)[p.time.value];
  element.querySelector('output.wind').textContent = wind; p.wind.setAttribute('aria-valuetext', wind);
  element.querySelector('output.time').textContent = time; p.time.setAttribute('aria-valuetext', time);
};
let number = 0;  // a later move overtakes an earlier one that still waits
const values = (recommended) => {
  const p = parts();
  number += 1;
  return {wind: p.unknown.checked ? -1 : Number(p.wind.value), time: recommended ? -1 : Number(p.time.value), number};
};
// 'input' and 'release' are the page's events.
const timers = {};
const soon = (name, wait_ms) => {  // the last move wins: it is read when the wait is over
  clearTimeout(timers[name]);
  timers[name] = setTimeout(() => trigger(name, values(false)), wait_ms);
};
element.addEventListener('input', (event) => {
  const p = parts();
  if (event.target === p.wind) p.unknown.checked = false;
  if (event.target.closest('.dials')) { say(); soon('input', 60); }
});
element.addEventListener('change', (event) => {
  if (event.target.closest('.dials')) soon('release', 400);
});
element.addEventListener('click', (event) => {
  const button = event.target.closest('button[data-do=recommended]');
  if (!button) return;
  parts().time.value = button.dataset.at; say();
  clearTimeout(timers.input); clearTimeout(timers.release); trigger('release', values(true));
});
"""

HOME_JS = """
const home = element.querySelector('.home');
const limit_mb = Number(home.dataset.limitMb), address = home.dataset.address;
const form = home.querySelector('.note');
const inputs = () => [...form.querySelectorAll('[data-field]')];
const read = (input) => input.type === 'checkbox' ? input.checked : input.value;
const which = form.querySelector('.which'), which_words = which.textContent;
let number = null, before = {};
const fill = (values, entry) => {
  number = entry;
  for (const input of inputs()) {
    const value = values[input.dataset.field];
    if (input.type === 'checkbox') input.checked = value === true;
    else input.value = value !== undefined ? value : (input.tagName === 'SELECT' ? input.options[0].value : '');
    before[input.dataset.field] = read(input);
  }
  form.querySelector('input.frame').value = '';
  form.querySelector('output.frame').textContent = '';
  form.querySelector('.only-new').style.display = entry === null ? '' : 'none';
  which.textContent = entry === null ? which_words : `The frame of number ${entry}. What you leave stays as it is.`;
  form.querySelector('[data-do=note]').textContent = entry === null ? 'Put it in the log' : `Change number ${entry}`;
};
fill({}, null);
const send = async (kind) => {
  const file = home.querySelector('input.' + kind).files[0];
  if (!file) return null;
  const news = (text) => { home.querySelector('output.' + kind).textContent = text; };
  try { const given = await window.irpreview.send(file, address, limit_mb, news); news(''); return given; }
  catch (why) { news(`${file.name}: ${why}`); throw why; }
};
const note = async () => {
  const fields = {};
  for (const input of inputs()) {
    const name = input.dataset.field, value = read(input);
    if (number === null ? value !== '' && value !== false : value !== before[name]) fields[name] = value;
  }
  const data = {number, fields, given: await send('frame'),
                at_snap: number === null && form.querySelector('.at-snap').checked};
  trigger('note', data);
};
element.addEventListener('click', (event) => {
  const button = event.target.closest('button[data-do]');
  if (!button) return;
  const text = (name) => home.querySelector(`[data-field=${name}]`).value;
  if (button.dataset.do === 'plan')
    trigger('plan', {place_name: text('place_name'), notes: text('notes')});
  if (button.dataset.do === 'note') note().catch(() => {});
  if (button.dataset.do === 'clear') fill({}, null);
  if (button.dataset.do === 'undo') trigger('undo', {});
  if (button.dataset.do === 'search')
    trigger('search', {words: text('words'), since: text('since'), until: text('until')});
});
element.addEventListener('change', (event) => {
  if (event.target.classList.contains('pair') && event.target.files.length)
    send('pair').then((given) => { event.target.value = ''; trigger('compare', {given}); }).catch(() => {});
});
// The list and the line of news are other parts of the page; they speak to this one by these two.
window.irpreview.fill = (values, entry) => {
  fill(values, entry);
  form.scrollIntoView({block: 'center'});
  form.querySelector('[data-field=taken]').focus();
};
window.irpreview.noted = () => fill({}, null);
"""

ENTRIES_JS = """
element.addEventListener('click', (event) => {
  const button = event.target.closest('button[data-do]');
  if (!button) return;
  const entry = button.closest('[data-number]'), number = Number(entry.dataset.number);
  if (button.dataset.do === 'fill') window.irpreview.fill(JSON.parse(entry.dataset.entry), number);
  if (button.dataset.do === 'remove') trigger('remove', {number});
});
"""

LOG_NEWS_JS = """
watch('value', () => { if (element.querySelector('.noted')) window.irpreview.noted(); });
"""

LEARNED_JS = """
element.addEventListener('change', (event) => {
  const what = event.target.dataset.use;
  if (what) trigger('use', {what, on: event.target.checked});
});
"""

COMPARED_JS = """
element.addEventListener('click', (event) => {
  if (event.target.closest('button[data-do=keep]')) trigger('keep', {});
});
"""
