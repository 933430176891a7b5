// The timer for bulb. It counts nothing: what is shown is the clock now less the clock at the start, which is kept, so
// it stays true while the screen sleeps, the page is in the background or is loaded again.
'use strict';

// ---- clock arithmetic; all in milliseconds since 1970, as Date.now gives them ----

const started = (length_s, now_ms) => ({started_ms: now_ms, length_s, stopped_ms: null});
const elapsed_s = (timer, now_ms) => Math.max(0, ((timer.stopped_ms ?? now_ms) - timer.started_ms) / 1000);
const left_s = (timer, now_ms) => timer.length_s - elapsed_s(timer, now_ms);

// Whole seconds as digits: "3:59". Counting down shows what is left of the running second, as a stopwatch does.
const digits = (seconds) => {
  const whole = Math.max(0, Math.floor(seconds)), hours = Math.floor(whole / 3600);
  const minutes = Math.floor(whole % 3600 / 60), rest = String(whole % 60).padStart(2, '0');
  return hours ? `${hours}:${String(minutes).padStart(2, '0')}:${rest}` : `${minutes}:${rest}`;
};

const timer_digits = (timer, now_ms, counts_up) => {
  if (counts_up) return digits(elapsed_s(timer, now_ms) + 1e-6);
  const left = left_s(timer, now_ms);
  return left > 0 ? digits(Math.ceil(left - 1e-6)) : `+${digits(-left + 1e-6)}`;
};

// Until the digits change next, so that they change on time.
const until_next_ms = (timer, now_ms) => 1000 - ((now_ms - timer.started_ms) % 1000 + 1000) % 1000;

// ---- what is heard and felt ----

const bell = {
  context: null,
  planned: [],

  // Sound has to be unlocked by a touch, and is planned ahead: a page that sleeps can start none.
  wake() {
    const Context = window.AudioContext ?? window.webkitAudioContext;
    if (!Context) return;
    this.context ??= new Context();
    this.context.resume?.().catch(() => {});
  },
  note(in_s, hertz, length_s) {
    const {context} = this;
    if (!context) return;
    const sound = context.createOscillator(), volume = context.createGain(), at = context.currentTime + in_s;
    sound.frequency.value = hertz;
    volume.gain.setValueAtTime(0.0001, at);
    volume.gain.exponentialRampToValueAtTime(0.6, at + 0.02);
    volume.gain.exponentialRampToValueAtTime(0.0001, at + length_s);
    sound.connect(volume).connect(context.destination);
    sound.start(at);
    sound.stop(at + length_s + 0.05);
    this.planned.push(sound);
  },
  // Three short ones before the end, a long one at it.
  plan(timer) {
    this.silence();
    const left = left_s(timer, Date.now());
    for (const before of [3, 2, 1]) if (left > before) this.note(left - before, 660, 0.12);
    if (left > 0) for (const after of [0, 0.35, 0.7]) this.note(left + after, 990, 0.3);
  },
  silence() {
    for (const sound of this.planned) try { sound.stop(); } catch { /* it has ended */ }
    this.planned = [];
  },
  // Both need a touch first, and a page that was loaded again has had none.
  shake() { if (navigator.userActivation?.hasBeenActive ?? true) navigator.vibrate?.([300, 150, 300, 150, 600]); },
};

// The screen stays on while a frame is open, where the phone can.
const screen_lock = {
  held: null,
  async take() {
    try { this.held = await navigator.wakeLock?.request('screen') ?? null; } catch { this.held = null; }
    return this.held !== null;
  },
  drop() {
    this.held?.release().catch(() => {});
    this.held = null;
  },
};
