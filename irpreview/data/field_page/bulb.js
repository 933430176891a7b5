// The dock under the thumb, the timer that fills the screen, and what every touch does.
'use strict';

let tick = null, rung_at = null;
const timer_now = () => kept.state.timer;

const show_dock = () => {
  const timer = timer_now(), running = timer && timer.stopped_ms === null;
  const ring = here().ring ?? planned_ring(known());
  find('#dock-setting').textContent = running ? `${timer.words} · open` : set_words(ring);
  find('#dock-time').textContent = running ? timer_digits(timer, Date.now(), kept.state.up)
    : shutter_text(shutter_now(ring));
  find('#start').textContent = running ? 'Timer' : 'Open';
  find('#start').setAttribute('aria-label', running ? 'Show the timer' : 'Open the shutter: start the timer');
};

const show_bulb = () => {
  const timer = timer_now();
  if (!timer) { find('#bulb').hidden = true; return; }
  const now = Date.now(), stopped = timer.stopped_ms !== null, text = timer_digits(timer, now, kept.state.up || stopped);
  const place = find('#digits');
  place.textContent = text;
  place.classList.toggle('long', text.length > 5);
  place.classList.toggle('over', !stopped && left_s(timer, now) <= 0);
  find('#bulb-name').textContent = timer.words;
  const length = shutter_text(timer.length_s), over = left_s(timer, now) <= 0;
  find('#bulb-of').textContent = stopped ? `open of ${length}` : over ? `Close now: ${length} is over` : `of ${length}`;
  find('#while-open').hidden = find('#stop').hidden = stopped;
  find('#afterwards').hidden = !stopped;
  find('#direction').textContent = kept.state.up ? 'Count down' : 'Count up';
  find('#quiet').textContent = kept.state.quiet ? 'Sound off' : bell.context ? 'Sound on' : 'Tap for sound';
  find('#quiet').setAttribute('aria-pressed', String(kept.state.quiet));
};

// Drawn anew whenever the digits change; the clock tells what they are.
const beat = () => {
  clearTimeout(tick);
  const timer = timer_now();
  show_dock();
  show_bulb();
  if (!timer || timer.stopped_ms !== null) return;
  if (left_s(timer, Date.now()) <= 0 && rung_at !== timer.started_ms) {
    rung_at = timer.started_ms;
    bell.shake();
  }
  tick = setTimeout(beat, until_next_ms(timer, Date.now()));
};

const open_shutter = () => {
  if (timer_now() && timer_now().stopped_ms === null) { raise(); return; }
  const ring = here().ring ?? planned_ring(known());
  const likely_s = shutter_now(ring);
  const length_s = read_time(shutter_text(likely_s)) ?? likely_s;
  kept.state.timer = {...started(length_s, Date.now()), place: kept.state.place, iso: ring.iso, f_number: ring.f_number,
    words: `${known().title}: ${set_words(ring)}`};
  kept.save();
  bell.wake();
  if (!kept.state.quiet) bell.plan(timer_now());
  screen_lock.take();
  raise();
};

const raise = () => {
  find('#bulb').hidden = false;
  find('main').inert = true;
  beat();
  find(timer_now()?.stopped_ms === null ? '#stop' : '#afterwards button').focus({preventScroll: true});
};
const lower = () => {
  find('#bulb').hidden = true;
  find('main').inert = false;
  find('#start').focus({preventScroll: true});
};

const close_shutter = () => {
  const timer = timer_now();
  timer.stopped_ms = Date.now();
  bell.silence();
  screen_lock.drop();
  kept.save();
  beat();
  find('#afterwards [data-off="0"]').focus({preventScroll: true});
};

const after_frame = (off_stops, worth_a_note) => {
  const timer = timer_now();
  if (timer && worth_a_note) note_frame(timer.place, 'frame', timer.iso, timer.f_number,
    Math.round(elapsed_s(timer, timer.stopped_ms) * 10) / 10, off_stops);
  kept.state.timer = null;
  kept.save();
  lower();
  beat();
  show_notes();
};

// ---- touches ----

const show_all_places = (shown) => {
  if (facts.places.length <= MOST_IN_SIGHT) return;
  find('#strip').hidden = !shown;
  find('#all-places').setAttribute('aria-expanded', String(shown));
};

const DO = {'hand-back': async () => {
  find('#handed').textContent = has_notes() ? await hand_back() ?? 'Not handed on.' : 'Nothing is noted yet.';
}, planned};

document.addEventListener('click', (event) => {
  const button = event.target.closest('button');
  if (!button) return;
  const given = button.dataset;
  const silent = timer_now()?.stopped_ms === null && !kept.state.quiet && !bell.context; // loaded again since
  if (silent) { bell.wake(); bell.plan(timer_now()); beat(); if (button.id === 'quiet') return; }
  if (given.look) { kept.state.look = given.look; look(given.look); kept.save(); }
  if (given.go !== undefined) { go_to(Number(given.go)); show_all_places(false); }
  if (given.step) go_to((kept.state.place + Number(given.step) + facts.places.length) % facts.places.length);
  if (given.took !== undefined) took(Number(given.took));
  if (given.right !== undefined) right(Number(given.right));
  if (given.turn) turn(button.closest('.ring').dataset.ring, Number(given.turn));
  if (given.framing !== undefined) show_framing(Number(given.framing));
  if (given.drop) {
    for (const place of kept.state.places) if (place.right_uid === given.drop) place.right = place.right_uid = null;
    drop_frame(given.drop);
    show_tests();
    show_rings();
    show_notes();
  }
  if (given.do) DO[given.do]();
  if (given.off !== undefined) after_frame(given.off === '' ? null : Number(given.off), true);
  const named = {start: open_shutter, 'dock-time': () => timer_now() && raise(), stop: close_shutter, lower,
    'all-places': () => show_all_places(find('#strip').hidden),
    forget: () => after_frame(null, false),
    direction: () => { kept.state.up = !kept.state.up; kept.save(); beat(); },
    quiet: () => {
      kept.state.quiet = !kept.state.quiet;
      if (kept.state.quiet) bell.silence(); else { bell.wake(); bell.plan(timer_now()); }
      kept.save();
      beat();
    }};
  named[button.id]?.();
});
document.addEventListener('change', (event) => {
  const box = event.target;
  if (box.dataset.work === undefined) return;
  const step = Number(box.dataset.work), list = here().work.filter((one) => one !== step);
  here().work = box.checked ? [...list, step] : list;
  kept.save();
});
document.addEventListener('input', (event) => {
  if (event.target.matches('.text')) write_text(kept.state.place, event.target.value);
});
document.addEventListener('submit', (event) => {
  event.preventDefault();
  const text = find('input', event.target).value, asked_s = read_time(text);
  if (asked_s !== null) ask_for(asked_s);
  else find(`#rings-${kept.state.place} .told`).textContent = 'Write a time as 30, 1/30, 4 min or 2m30s.';
});
document.addEventListener('keydown', (event) => {
  if (event.key === 'Escape' && !find('#bulb').hidden && timer_now()?.stopped_ms === null) lower();
});
// After sleep: the clock went on, the sound may have to be planned anew, the screen's lock is gone.
document.addEventListener('visibilitychange', () => {
  if (document.hidden || !timer_now() || timer_now().stopped_ms !== null) return;
  if (!kept.state.quiet) bell.plan(timer_now());
  screen_lock.take();
  beat();
});
addEventListener('pageshow', () => beat());

const show_kept = () => {
  const {look: chosen, place} = kept.state;
  look(LOOKS.includes(chosen) ? chosen : matchMedia('(prefers-color-scheme: dark)').matches ? 'evening' : 'day');
  show_place(place, false);
  if (timer_now()) raise(); else if (!find('#bulb').hidden) lower();
};
// The same file open in a second window: both show, and go on from, what was kept last.
addEventListener('storage', ({key, newValue}) => {
  if (key !== KEY) return;
  kept.take_in(newValue);
  show_kept();
});

kept.load();
document.documentElement.classList.add('awake');
make_strip();
show_kept();
if (!kept.lasts) find('#handed').textContent = 'This browser keeps nothing for a file: hand back the notes before you close it.';
