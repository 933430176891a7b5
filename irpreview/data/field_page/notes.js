// What was tapped and written: kept in the browser under the file's own key, and handed back as a small file.
'use strict';

const facts = JSON.parse(document.getElementById('facts').textContent);
const KEY = `irpreview-field-${facts.page}`;
const TEXT_LIMIT = 2000, MOST_FRAMES = 200;

const fresh_place = () => ({taken: [], right: null, right_uid: null, work: [], ring: null, text: '', text_uid: null,
  given: null});
const fresh = () => ({look: null, place: 0, up: false, quiet: false, timer: null, frames: [],
  places: facts.places.map(fresh_place)});

// What is found in the browser is read like a file from outside: what does not fit is left out.
const is_number = (value) => typeof value === 'number' && Number.isFinite(value);
const is_one_of = (count) => (value) => Number.isInteger(value) && value >= 0 && value < count;
const is_frame = (one) => one !== null && typeof one === 'object' && typeof one.uid === 'string'
  && is_one_of(facts.places.length)(one.place) && [one.iso, one.f_number, one.shutter_s].every(is_number)
  && (one.off_stops === null || is_number(one.off_stops));
const sound_place = (found, index) => {
  const place = facts.places[index], one = found !== null && typeof found === 'object' ? found : {};
  const numbers = (list, count) => (Array.isArray(list) ? list : []).filter(is_one_of(count));
  const ring = one.ring, {isos, f_numbers} = place.calculator;
  const turned = ring !== null && typeof ring === 'object' && isos.includes(ring.iso)
    && f_numbers.includes(ring.f_number) && is_number(ring.factor_thirds) && is_number(ring.light_thirds)
    && (ring.asked_s === null || is_number(ring.asked_s));
  const text = (value) => typeof value === 'string' ? value : null;
  return {taken: numbers(one.taken, place.tests.length), work: numbers(one.work, place.order.length),
    right: is_one_of(place.tests.length)(one.right) ? one.right : null, right_uid: text(one.right_uid),
    ring: turned ? ring : null, text: text(one.text) ?? '', text_uid: text(one.text_uid), given: text(one.given)};
};
const sound = (found) => {
  const timer = found.timer, open = timer !== null && typeof timer === 'object' && is_number(timer.started_ms)
    && is_number(timer.length_s) && timer.length_s > 0 && (timer.stopped_ms === null || is_number(timer.stopped_ms))
    && is_frame({uid: '', ...timer, shutter_s: 0, off_stops: null});
  return {look: found.look ?? null, place: is_one_of(facts.places.length)(found.place) ? found.place : 0,
    up: found.up === true, quiet: found.quiet === true, timer: open ? timer : null,
    frames: (Array.isArray(found.frames) ? found.frames : []).filter(is_frame),
    places: facts.places.map((_, index) => sound_place(found.places?.[index] ?? null, index))};
};

const kept = {
  state: fresh(),
  lasts: true, // whether the browser keeps it beyond this page

  take_in(text) {
    let found = null;
    try { found = JSON.parse(text); } catch { /* damaged: begun anew */ }
    this.state = found !== null && typeof found === 'object' ? sound(found) : fresh();
  },
  // Nothing is written over what is kept before something changes here: another window may just be writing.
  load() {
    try {
      this.take_in(localStorage.getItem(KEY));
      localStorage.setItem(`${KEY}-tried`, '');
      localStorage.removeItem(`${KEY}-tried`);
    } catch { this.lasts = false; }
  },
  save() {
    try { localStorage.setItem(KEY, JSON.stringify(this.state)); } catch { this.lasts = false; }
  },
};

const new_uid = () => [...crypto.getRandomValues(new Uint8Array(16))]
  .map((one) => one.toString(16).padStart(2, '0')).join('');

const today = (now) => {
  const two = (value) => String(value).padStart(2, '0');
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
};

// A time of day says where the sun stood: it goes in only where the place does.
const moment = (now) => {
  const minutes = -now.getTimezoneOffset(), two = (value) => String(Math.trunc(Math.abs(value))).padStart(2, '0');
  const local = new Date(now.getTime() + minutes * 60000).toISOString().slice(0, 19);
  return `${local}${minutes < 0 ? '-' : '+'}${two(minutes / 60)}:${two(minutes % 60)}`;
};

// off_stops: how much brighter (+) or darker (-) than wanted it came out; null = not judged.
const note_frame = (place, kind, iso, f_number, shutter_s, off_stops) => {
  const now = new Date();
  const frame = {uid: new_uid(), place, kind, iso, f_number, shutter_s, off_stops, day: today(now), at: moment(now)};
  kept.state.frames.push(frame);
  kept.save();
  return frame;
};

const drop_frame = (uid) => {
  kept.state.frames = kept.state.frames.filter((one) => one.uid !== uid);
  kept.save();
};

const write_text = (index, text) => {
  const place = kept.state.places[index];
  place.text = text.slice(0, TEXT_LIMIT);
  // what was handed back already stays as it is in the log; what is written after it is a line of its own
  if (place.text_uid === null || (place.given !== null && place.given !== place.text)) {
    place.text_uid = new_uid();
    place.given = null;
  }
  kept.save();
};

const has_notes = () => kept.state.frames.length > 0 || kept.state.places.some((one) => one.text.trim());

const outcome_of = (off_stops) => off_stops === null ? 'unknown'
  : off_stops < -0.5 ? 'thin' : off_stops > 0.5 ? 'dense' : 'good';

const note_of = (place, own) => ({
  uid: null, title: place.title, snap_name: place.snap_name, snap_sha256: place.snap_sha256, kit_name: place.kit,
  kit_key: place.kit_key, planned_iso: place.setting?.iso ?? null, planned_f_number: place.setting?.f_number ?? null,
  planned_shutter_s: place.setting?.shutter_s ?? null, metered_ev100: place.metered_ev100,
  latitude_deg: place.latitude_deg, longitude_deg: place.longitude_deg, kind: 'plan', iso: null, f_number: null,
  shutter_s: null, came_out_stops: null, outcome: 'unknown', taken_on: null, taken_at: null, notes: '', ...own,
});

// The file that `irpreview log bring` reads.
const handed_back = () => {
  const frames = kept.state.frames.slice(-MOST_FRAMES).map((one) => {
    const place = facts.places[one.place];
    // the placement is wanted: a grey that comes out so much brighter than a meter's is right
    const came_out = one.off_stops === null ? null : one.off_stops + place.calculator.placement_stops;
    return note_of(place, {uid: one.uid, kind: one.kind, iso: one.iso, f_number: one.f_number,
      shutter_s: one.shutter_s, came_out_stops: came_out, outcome: outcome_of(one.off_stops),
      taken_on: one.day, taken_at: facts.with_place ? one.at : null});
  });
  const texts = kept.state.places.flatMap((one, index) => one.text.trim()
    ? [note_of(facts.places[index], {uid: one.text_uid, notes: one.text.trim()})] : []);
  return {schema: 'irpreview/1', kind: 'field_notes', page: facts.page, version: facts.version,
    frames: [...frames, ...texts]};
};

const hand_back = async () => {
  const text = JSON.stringify(handed_back(), null, 1);
  const name = `field-notes-${today(new Date())}-${facts.page.slice(0, 4)}.json`;
  const file = new File([text], name, {type: 'application/json'});
  let how = 'saved';
  if (navigator.canShare?.({files: [file]})) {
    try { await navigator.share({files: [file]}); how = 'handed on'; } catch (why) {
      if (why.name === 'AbortError') return null;
      how = 'saved';
      download(file);
    }
  } else download(file);
  for (const place of kept.state.places) place.given = place.text;
  kept.save();
  return `${name} ${how}.`;
};

const download = (file) => {
  const link = document.createElement('a');
  link.href = URL.createObjectURL(file);
  link.download = file.name;
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
};
