// Corrections by hand: draw, see what would change, shrink or grow it, take it.

import {ask, find, state} from './shared.js';
import {current} from './views.js';

const MOST_REACH = 6;
let strokes = [], drawing = null, reach = 0, outlines = [], number = 0;

const canvas = () => find('#paint');
const chosen = () => find('input[name=class]:checked');
const grows = () => !find('#exact').checked;
const colour_of = (name) => find(`input[name=class][value=${name}]`).dataset.colour;

const draw = () => {
  const place = canvas();
  if (place.hidden) return;
  const scale = window.devicePixelRatio || 1, w = place.clientWidth, h = place.clientHeight;
  place.width = w * scale;
  place.height = h * scale;
  const pen = place.getContext('2d');
  pen.scale(scale, scale);
  pen.lineCap = pen.lineJoin = 'round';
  for (const one of outlines) {
    const path = new Path2D();
    for (const line of one.lines) {
      line.forEach(([x, y], i) => i ? path.lineTo(x * w, y * h) : path.moveTo(x * w, y * h));
      path.closePath();
    }
    pen.fillStyle = `${colour_of(one.class_name)}66`;
    pen.fill(path, 'evenodd');
    pen.lineWidth = 4;
    pen.strokeStyle = '#000';
    pen.stroke(path);
    pen.lineWidth = 2;
    pen.strokeStyle = '#fff';
    pen.setLineDash([7, 5]);
    pen.stroke(path);
    pen.setLineDash([]);
  }
  pen.globalAlpha = outlines.length ? 0.55 : 0.85;
  for (const one of strokes) {
    pen.strokeStyle = colour_of(one.class_name);
    pen.lineWidth = Math.max(2, one.width * w);
    pen.beginPath();
    one.points.forEach(([x, y], i) => i ? pen.lineTo(x * w, y * h) : pen.moveTo(x * w, y * h));
    if (one.points.length === 1) pen.lineTo(one.points[0][0] * w + 0.1, one.points[0][1] * h);
    pen.stroke();
  }
};

const mark = () => {
  const any = strokes.length > 0;
  for (const name of ['shrink', 'grow', 'take', 'discard']) {
    const off = !any || (name === 'shrink' && (reach <= -MOST_REACH || !grows()))
      || (name === 'grow' && (reach >= MOST_REACH || !grows()));
    find(`[data-do=${name}]`).disabled = off;
  }
};

const sent = () => strokes.map(({class_name, width, points}) => ({class_name, width, points}));
const outline = async () => {
  mark();
  if (!strokes.length) { outlines = []; draw(); return; }
  const mine = ++number;
  await ask('outline', {strokes: sent(), reach, grow: grows(), number: mine});
};
const discard = () => {
  strokes = []; outlines = []; drawing = null; reach = 0; number += 1;
  mark();
  draw();
};
const take = async () => {
  if (!strokes.length) return;
  const given = sent(), at = reach, grow = grows();
  await ask('take', {strokes: given, reach: at, grow});
  discard();
};
const step = (by) => {
  if (!strokes.length || !grows()) return;
  reach = Math.min(MOST_REACH, Math.max(-MOST_REACH, reach + by));
  outline();
};
const at = (event) => {
  const box = canvas().getBoundingClientRect(), inside = (v) => Math.min(1, Math.max(0, v));
  return [inside((event.clientX - box.left) / box.width), inside((event.clientY - box.top) / box.height)];
};

const DO = {take, discard, shrink: () => step(-1), grow: () => step(1), undo: () => ask('undo'), redo: () => ask('redo'),
  area: () => ask('area', {area: Number(find('#area').value), class_name: chosen().value})};

export const brush = {
  discard,
  fit: () => draw(),
  begin: () => {
    const place = canvas();
    place.addEventListener('pointerdown', (event) => {
      event.preventDefault();
      place.setPointerCapture(event.pointerId);
      if (strokes.length === 0) reach = 0;
      drawing = {class_name: chosen().value, width: Number(find('#brush').value) / 100, points: [at(event)]};
      strokes.push(drawing);
      draw();
    });
    place.addEventListener('pointermove', (event) => {
      if (!drawing) return;
      for (const one of event.getCoalescedEvents?.() ?? [event]) {
        const [x, y] = at(one), [px, py] = drawing.points[drawing.points.length - 1];
        if (Math.hypot(x - px, y - py) > 0.004) drawing.points.push([x, y]);
      }
      draw();
    });
    const stop = () => { if (drawing) { drawing = null; outline(); } };
    place.addEventListener('pointerup', stop);
    place.addEventListener('pointercancel', stop);
    window.addEventListener('resize', draw);
    find('#tools').addEventListener('click', (event) => DO[event.target.closest('button[data-do]')?.dataset.do]?.());
    find('#exact').addEventListener('change', outline);
    mark();
  },
  // Keys of the map view; says whether one was meant for it.
  key: (event) => {
    if (current() !== 'map' || !state.has_snap) return false;
    if (event.ctrlKey || event.metaKey) {
      if (event.key.toLowerCase() !== 'z' && event.key.toLowerCase() !== 'y') return false;
      ask(event.key.toLowerCase() === 'y' || event.shiftKey ? 'redo' : 'undo');
      return true;
    }
    const on_button = event.target.closest('button, summary, a, label.button');
    const act = {'[': DO.shrink, ']': DO.grow, Enter: on_button ? null : take, Escape: discard}[event.key];
    if (!act || event.altKey) return false;
    act();
    return true;
  },
  apply: (values) => {
    if (values.outlines && strokes.length) { outlines = values.outlines; draw(); }
    if (values.can_undo !== undefined) {
      find('[data-do=undo]').disabled = !values.can_undo;
      find('[data-do=redo]').disabled = !values.can_redo;
    }
  },
};
