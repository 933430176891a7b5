// The exposure worked out outdoors. The same as core/exposure/calculator.py, name by name; a test runs both.
'use strict';

const SHORTEST_S = 1 / 8000, LONGEST_S = 3600;
const NEAR_STOPS = 0.26, LIKED_F_NUMBER = 9, SOFT_FROM_F_NUMBER = 14, CLEAN_SNR = 40, BY_EYE_STOPS = 0.5;

// ---- one setting ----

const time_s = (calculator, iso, f_number) =>
  f_number ** 2 * 100 / iso * 2 ** (calculator.factor_stops + calculator.placement_stops - calculator.ev100);

const time_range_s = (calculator, iso, f_number) => {
  const likely = time_s(calculator, iso, f_number);
  return {low: likely * 2 ** -calculator.below_stops, likely, high: likely * 2 ** calculator.above_stops};
};

// ---- settings for a time ----

const snr_of = (noise, iso, shutter_s) => {
  const signal = noise.grey_e_at_iso_100 * 100 / iso;
  const read = iso >= noise.high_iso ? noise.read_high_iso_e : noise.read_e;
  return Math.floor(10 * signal / Math.sqrt(signal + noise.dark_e_per_s * shutter_s + read ** 2) + 0.5) / 10;
};

const cost_of = (snr, f_number, widest_f_number, found_s, asked_s) => {
  const noise = 0.8 * Math.max(0, Math.log2(CLEAN_SNR / Math.max(snr, 1e-3)));
  const depth = 0.5 * Math.abs(2 * Math.log2(f_number / LIKED_F_NUMBER));
  const wide = 0.7 * Math.max(0, 2 - 2 * Math.log2(f_number / widest_f_number));
  const soft = 2 * Math.max(0, 2 * Math.log2(f_number / SOFT_FROM_F_NUMBER));
  return noise + depth + wide + soft + 0.5 * Math.abs(Math.log2(found_s / asked_s));
};

const is_near = (found_s, asked_s) => Math.abs(Math.log2(found_s / asked_s)) <= NEAR_STOPS;

const beyond_reach_stops = (asked_s, shortest_s, longest_s) => {
  const over = Math.log2(asked_s / longest_s), under = Math.log2(asked_s / shortest_s);
  return over > NEAR_STOPS ? over : under < -NEAR_STOPS ? under : 0;
};

const whole_filters = (base_s, asked_s) => {
  const stops = Math.log2(asked_s / base_s);
  return [Math.max(1, Math.floor(stops + 0.5)), Math.max(1, Math.ceil(stops))];
};

// The first of those with the least of a measure; null of none.
const least = (list, measure) => {
  let best = null, least_so_far = Infinity;
  for (const one of list) {
    const value = measure(one);
    if (value < least_so_far) { best = one; least_so_far = value; }
  }
  return best;
};

const cheapest = (calculator, every, asked_s, grey_stops) => {
  const through = every.map((one) => ({...one, shutter_s: one.shutter_s * 2 ** grey_stops, grey_stops}));
  return least(through.filter((one) => is_near(one.shutter_s, asked_s)), (one) => cost_of(
    snr_of(calculator.noise, one.iso, one.shutter_s * 2 ** -grey_stops) || CLEAN_SNR, one.f_number, calculator.f_numbers[0],
    one.shutter_s, asked_s));
};

const settings_for = (calculator, asked_s) => {
  const every = [];
  for (const iso of calculator.isos) for (const f_number of calculator.f_numbers) {
    const shutter_s = time_s(calculator, iso, f_number);
    if (shutter_s >= SHORTEST_S && shutter_s <= LONGEST_S) every.push({iso, f_number, shutter_s, grey_stops: 0});
  }
  if (!every.length) return {choice: null, shortest: null, longest: null, off_stops: 0, grey: null};
  const shortest = least(every, (one) => one.shutter_s), longest = least(every, (one) => -one.shutter_s);
  const off_stops = beyond_reach_stops(asked_s, shortest.shutter_s, longest.shutter_s);
  const choice = off_stops === 0 ? cheapest(calculator, every, asked_s, 0) : null;
  let grey = null;
  if (off_stops > 0 || (choice && choice.f_number >= SOFT_FROM_F_NUMBER)) {
    const base_s = time_s(calculator, calculator.isos[0], calculator.liked_f_number);
    for (const stops of whole_filters(base_s, asked_s)) {
      grey = cheapest(calculator, every, asked_s, stops);
      if (grey) break;
    }
  }
  return {choice, shortest, longest, off_stops, grey};
};

// ---- a test exposure was found right ----

const after_test = (calculator, test) => ({
  ...calculator,
  factor_stops: test.factor_stops,
  below_stops: Math.min(calculator.below_stops, BY_EYE_STOPS),
  above_stops: Math.min(calculator.above_stops, BY_EYE_STOPS),
});

// ---- times as a camera or a person says them; the same as core/units.py ----

const FRACTIONS = ('8000 6400 5000 4000 3200 2500 2000 1600 1250 1000 800 640 500 400 320 250 200 160 125 100 80 60 50 '
  + '40 30 25 20 15 13 10 8 6 5 4').split(' ').map((one) => `1/${one}`);
const SECONDS = '0.3 0.4 0.5 0.6 0.8 1 1.3 1.6 2 2.5 3.2 4 5 6 8 10 13 15 20 25 30'.split(' ').map((one) => `${one} s`);
const NOMINAL = [...FRACTIONS, ...SECONDS], FIRST_THIRD = -39;

// Halves go to the even number, as in Python.
const rounded_off = (value) => {
  const below = Math.floor(value), over = value - below;
  return over > 0.5 || (over === 0.5 && below % 2 !== 0) ? below + 1 : below;
};

const shutter_text = (seconds) => {
  if (seconds < 36) {
    const index = rounded_off(3 * Math.log2(seconds)) - FIRST_THIRD;
    if (index >= 0 && index < NOMINAL.length) return NOMINAL[index];
    if (index >= 0) return '30 s';
    const fraction = 1 / seconds, scale = 10 ** (Math.floor(Math.log10(fraction)) - 1);
    return `1/${rounded_off(fraction / scale) * scale}`;
  }
  const step = seconds < 60 ? 1 : seconds < 300 ? 5 : seconds < 600 ? 10 : seconds < 3600 ? 30 : 60;
  const rounded = rounded_off(seconds / step) * step;
  const parts = [[Math.floor(rounded / 3600), 'h'], [Math.floor(rounded % 3600 / 60), 'min'], [rounded % 60, 's']];
  return parts.filter(([count]) => count).map(([count, unit]) => `${count} ${unit}`).join(' ');
};

// Seconds of "30", "1/30", "4 min" or "2m30s"; null for anything else.
const read_time = (text) => {
  const cleaned = text.trim().toLowerCase().replaceAll(',', '.');
  const number = '([0-9]+(?:\\.[0-9]*)?|\\.[0-9]+)';
  const fraction = cleaned.match(new RegExp(`^${number}\\s*/\\s*${number}\\s*s?$`));
  const parts = cleaned.match(new RegExp(`^(?:${number}\\s*(?:h|hours?))?\\s*(?:${number}\\s*(?:m|min|minutes?))?\\s*`
    + `(?:${number}\\s*(?:s|sec|seconds?)?)?$`));
  let seconds = null;
  if (fraction) seconds = Number(fraction[1]) / Number(fraction[2]);
  else if (parts && parts.slice(1).some(Boolean))
    seconds = Number(parts[1] ?? 0) * 3600 + Number(parts[2] ?? 0) * 60 + Number(parts[3] ?? 0);
  return seconds !== null && seconds >= 1 / 32000 && seconds <= 86400 ? seconds : null;
};
