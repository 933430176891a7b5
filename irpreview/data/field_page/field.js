// The page itself: which place, its rings, its test frames, its notes, and the timer under the thumb.
'use strict';

const find = (selector, within = document) => within.querySelector(selector);
const all = (selector, within = document) => [...within.querySelectorAll(selector)];
const LOOKS = ['day', 'evening', 'night'], THIRD = 1 / 3;
const article = (index) => find(`#place-${index}`);
const here = () => kept.state.places[kept.state.place];
const known = () => facts.places[kept.state.place];
const plain_number = (value) => String(Math.round(value * 10) / 10);
const set_words = (one) => `ISO ${plain_number(one.iso)}, f/${plain_number(one.f_number)}`;

// ---- looks ----

const look = (name) => {
  document.documentElement.dataset.look = name;
  for (const button of all('.looks button')) button.setAttribute('aria-pressed', String(button.dataset.look === name));
};

// ---- rings: light, factor, ISO and aperture give the time; a time gives ISO and aperture ----

const nearest = (list, value) => least(list, (one) => Math.abs(Math.log2(one / value)));
const planned_ring = (place) => {
  const start = place.setting ?? {iso: place.calculator.isos[0], f_number: place.calculator.liked_f_number};
  return {iso: nearest(place.calculator.isos, start.iso), f_number: nearest(place.calculator.f_numbers, start.f_number),
    factor_thirds: 0, light_thirds: 0, asked_s: place.asked_time?.setting ? place.asked_time.shutter_s : null};
};

// A time that was asked for stands as it was asked, within the quarter stop that thirds of ISO and aperture leave.
const shutter_now = (ring) => {
  const exact_s = time_s(calculator_now(), ring.iso, ring.f_number);
  return ring.asked_s && is_near(exact_s, ring.asked_s) ? ring.asked_s : exact_s; // a test may have told otherwise since
};

// The calculator as it stands: the test that was right, and what was turned by hand.
const calculator_now = (index = kept.state.place) => {
  const place = facts.places[index], state = kept.state.places[index], ring = state.ring ?? planned_ring(place);
  const base = state.right === null ? place.calculator : after_test(place.calculator, place.tests[state.right]);
  return {...base, factor_stops: base.factor_stops + ring.factor_thirds * THIRD,
    ev100: base.ev100 + ring.light_thirds * THIRD};
};

const light_words = (thirds) => {
  const metered = known().metered_ev100;
  if (metered !== null) return `EV ${(metered + thirds * THIRD).toFixed(1)}`;
  if (thirds === 0) return 'as planned';
  return `${Math.abs(thirds * THIRD).toFixed(1)} ${thirds > 0 ? 'brighter' : 'darker'}`;
};

const turn = (name, step) => {
  const place = known(), ring = here().ring ?? planned_ring(place);
  here().ring = ring;
  const told = find('#rings-' + kept.state.place + ' .told');
  told.textContent = '';
  if (name === 'time') {
    ask_for(shutter_now(ring) * 2 ** step);
    return;
  }
  ring.asked_s = null;
  if (name === 'factor') ring.factor_thirds += step;
  else if (name === 'light') ring.light_thirds += step;
  else {
    const list = name === 'iso' ? place.calculator.isos : place.calculator.f_numbers;
    const at = list.indexOf(ring[name]) + step;
    if (at < 0 || at >= list.length) return;
    ring[name] = list[at];
  }
  kept.save();
  show_rings();
};

const stops_words = (count) => `${count} stop${count === 1 ? '' : 's'}`;
const ask_for = (asked_s) => {
  const place = known(), ring = here().ring ?? planned_ring(place);
  const found = settings_for(calculator_now(), asked_s), told = find(`#rings-${kept.state.place} .told`);
  const time = shutter_text(asked_s);
  const through = found.grey
    ? ` A further grey filter of ${stops_words(found.grey.grey_stops)} gives it at ${set_words(found.grey)}.` : '';
  if (found.choice) {
    here().ring = {...ring, iso: found.choice.iso, f_number: found.choice.f_number, asked_s};
    const bulb = asked_s > place.calculator.longest_timed_s * 1.19;
    const mind = !bulb ? '' : place.calculator.has_bulb ? ' Bulb.' : ' No bulb on this camera.';
    told.textContent = `${time}: ${set_words(found.choice)}.${mind}${through}`;
  } else if (found.longest) {
    const too_long = found.off_stops > 0, end = too_long ? found.longest : found.shortest;
    told.textContent = `${time} is out of reach: ${Math.abs(found.off_stops).toFixed(1)} stops too `
      + `${too_long ? 'bright. Longest' : 'dark. Shortest'} is ${set_words(end)}, ${shutter_text(end.shutter_s)}.${through}`;
  } else told.textContent = 'No setting of this kit fits this light.';
  kept.save();
  show_rings();
};

const show_rings = () => {
  const index = kept.state.place, place = known(), ring = here().ring ?? planned_ring(place);
  const calculator = calculator_now(), time = time_range_s(calculator, ring.iso, ring.f_number);
  const {isos, f_numbers} = place.calculator;
  const shown_s = shutter_now(ring);
  const beside = (list, value, step) => list[list.indexOf(value) + step];
  const factor = (thirds) => (calculator.factor_stops + thirds * THIRD).toFixed(1);
  const says = {
    iso: [beside(isos, ring.iso, -1), ring.iso, beside(isos, ring.iso, 1)].map((one) => one && plain_number(one)),
    f_number: [-1, 0, 1].map((step) => beside(f_numbers, ring.f_number, step)).map((one) => one && `f/${plain_number(one)}`),
    factor: [factor(-1), factor(0), factor(1)],
    light: [-1, 0, 1].map((step) => light_words(ring.light_thirds + step)),
    time: [shutter_text(shown_s / 2), shutter_text(shown_s), shutter_text(shown_s * 2)],
  };
  if (known().metered_ev100 === null) [says.light[0], says.light[2]] = ['darker', 'brighter'];
  for (const [name, [before, now, after]] of Object.entries(says)) {
    const row = find(`#rings-${index} [data-ring=${name}]`), [left, right] = all('button', row);
    find('output', row).textContent = now;
    for (const [button, text] of [[left, before], [right, after]]) {
      button.textContent = text ?? '';
      button.disabled = text === undefined;
      button.setAttribute('aria-label', text === undefined ? 'no further' : `${find('.ring-name', row).textContent}: ${text}`);
    }
  }
  const low = shutter_text(time.low), high = shutter_text(time.high), told = find(`#rings-${index} .told`);
  const sure = low === high ? 'Sure to a third of a stop.' : `Could be ${low} to ${high}.`;
  if (!told.textContent) told.textContent = sure;
  show_setting(ring, shown_s, sure);
  show_dock();
};

// What stands large under the picture follows the rings.
const show_setting = (ring, shutter_s, sure) => {
  const whole = article(kept.state.place), untouched = here().ring === null && here().right === null;
  if (!find('.setting .time', whole)) return;
  find('.setting .iso', whole).textContent = `ISO ${plain_number(ring.iso)}`;
  find('.setting .stop', whole).textContent = `f/${plain_number(ring.f_number)}`;
  find('.setting .time', whole).textContent = shutter_text(shutter_s);
  const first = untouched && known().tests.length ? ' Tests first.' : here().right !== null ? ' By your test.' : '';
  find('.sure', whole).textContent = sure + first;
};

const planned = () => {
  here().ring = null;
  find(`#rings-${kept.state.place} .told`).textContent = '';
  find(`#rings-${kept.state.place} input`).value = '';
  kept.save();
  show_rings();
};

// ---- test frames ----

const took = (rung) => {
  const list = here().taken;
  here().taken = list.includes(rung) ? list.filter((one) => one !== rung) : [...list, rung];
  kept.save();
  show_tests();
};

const right = (rung) => {
  const state = here(), index = kept.state.place, test = known().tests[rung];
  if (state.right_uid) drop_frame(state.right_uid);
  const again = state.right === rung;
  state.right = again ? null : rung;
  state.right_uid = again ? null : note_frame(index, 'test', test.iso, test.f_number, test.shutter_s, 0).uid;
  if (!again && !state.taken.includes(rung)) state.taken.push(rung);
  // factor and light were turned from what was known before
  if (state.ring) state.ring = {...state.ring, factor_thirds: 0, light_thirds: 0, asked_s: null};
  find(`#rings-${index} .told`).textContent = '';
  kept.save();
  show_tests();
  show_rings();
  show_notes();
};

const show_tests = () => {
  const index = kept.state.place, state = here(), place = known(), section = find(`#tests-${index}`);
  if (!section) return;
  for (const [rung, item] of all('.ladder li', section).entries()) {
    find('.took', item).setAttribute('aria-pressed', String(state.taken.includes(rung)));
    find('.right', item).setAttribute('aria-pressed', String(state.right === rung));
    item.classList.toggle('is-right', state.right === rung);
  }
  const told = find('.told', section);
  if (state.right === null) { told.textContent = ''; return; }
  const test = place.tests[state.right], calculator = after_test(place.calculator, test);
  const range = time_range_s(calculator, test.long_iso, test.long_f_number);
  told.textContent = `Factor ${test.factor_stops.toFixed(1)} stops. Take ${set_words({iso: test.long_iso,
    f_number: test.long_f_number})}, ${test.long_shutter_text}; ${shutter_text(range.low)} to ${shutter_text(range.high)}.`;
};

// Each test frame as it would look beside a right one, where the factor holds.
const cut_slices = (index) => {
  const picture = find(`#picture-${index}`), place = facts.places[index], one = place.framings[0];
  const middle = one ? [one.left + one.width / 2, one.top + one.height / 2] : [0.5, 0.5]; // what the picture is about
  for (const [rung, slice] of all(`#tests-${index} .slice`).entries()) {
    const copy = document.createElement('img');
    copy.src = picture.src;
    copy.alt = '';
    const brighter_stops = place.tests[rung].factor_stops - place.calculator.factor_stops;
    copy.style.setProperty('--light', String(2 ** (brighter_stops / 2.2)));
    copy.style.objectPosition = middle.map((share) => `${share * 100}%`).join(' ');
    slice.replaceChildren(copy);
  }
};

// ---- framings ----

const show_framing = (number) => {
  const index = kept.state.place, frame = find('.frame', article(index)), one = known().framings[number];
  const buttons = all('.framing', article(index)), shown = buttons[number]?.getAttribute('aria-pressed') === 'true';
  for (const button of buttons) button.setAttribute('aria-pressed', 'false');
  frame.hidden = shown || !one;
  if (frame.hidden) return;
  buttons[number].setAttribute('aria-pressed', 'true');
  for (const [side, share] of Object.entries({left: one.left, top: one.top, width: one.width, height: one.height}))
    frame.style[side] = `${share * 100}%`;
  article(index).scrollIntoView({behavior: 'smooth'});
};

// ---- notes ----

const CAME_OUT = {'-2': '2 stops dark', '-1': '1 stop dark', 0: 'right', 1: '1 stop bright', 2: '2 stops bright'};
const show_notes = () => {
  const index = kept.state.place, list = find(`#notes-${index} .frames`);
  list.replaceChildren(...kept.state.frames.filter((one) => one.place === index).map((one) => {
    const item = document.createElement('li'), words = document.createElement('span'), drop = document.createElement('button');
    words.textContent = `${one.kind === 'test' ? 'Test: ' : ''}${set_words(one)}, ${shutter_text(one.shutter_s)}, `
      + (one.off_stops === null ? 'not judged' : CAME_OUT[one.off_stops]);
    drop.type = 'button';
    drop.textContent = 'Remove';
    drop.dataset.drop = one.uid;
    item.append(words, drop);
    return item;
  }));
};

// ---- the place ----

const show_place = (index, scroll = true) => {
  kept.state.place = Math.min(Math.max(index, 0), facts.places.length - 1);
  for (const one of all('.place')) one.hidden = Number(one.dataset.place) !== kept.state.place;
  for (const [number, button] of all('#strip button').entries()) {
    if (number === kept.state.place) button.setAttribute('aria-current', 'true');
    else button.removeAttribute('aria-current');
  }
  find('#all-places').textContent = `${kept.state.place + 1} of ${facts.places.length} places`;
  const state = here(), whole = article(kept.state.place);
  find('.head', whole).append(find('.looks'));
  find('.text', whole).value = state.text;
  for (const box of all('[data-work]', whole)) box.checked = state.work.includes(Number(box.dataset.work));
  cut_slices(kept.state.place);
  show_tests();
  show_rings();
  show_notes();
  if (scroll) scrollTo({top: 0});
};

const go_to = (index) => {
  show_place(index);
  kept.save();
};

const MOST_IN_SIGHT = 4; // more are a turn away, behind their number
const make_strip = () => {
  const strip = find('#strip');
  find('#places').hidden = facts.places.length < 2;
  strip.hidden = facts.places.length > MOST_IN_SIGHT;
  find('#turns').hidden = !strip.hidden;
  strip.replaceChildren(...facts.places.map((place, index) => {
    const button = document.createElement('button'), copy = document.createElement('img'), words = document.createElement('span');
    copy.src = find(`#picture-${index}`).src;
    copy.alt = '';
    words.textContent = place.title;
    button.type = 'button';
    button.dataset.go = String(index);
    button.append(copy, words);
    return button;
  }));
};
