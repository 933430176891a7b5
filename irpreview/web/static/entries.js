// Kit, place and day: each entry is sent when it is left, and told on its own when it makes no sense.

import {ask, find} from './shared.js';

let number = 0, under_way = 0;
const given = {}; // all that was changed here: what arrives last holds what came before it too
const fault = (name) => find(`[data-fault=${name}]`);

export const entries = {
  begin: () => {
    find('#kit').addEventListener('change', async (event) => {
      const name = event.target.dataset.entry;
      if (!name) return;
      given[name] = event.target.value;
      under_way += 1;
      await ask('enter', {values: {...given}, number: ++number});
      under_way -= 1;
    });
  },
  apply: (shown) => {
    for (const [name, value] of Object.entries(shown.values?.entries ?? {})) {
      if (under_way) break;
      delete given[name];
      const input = find(`[data-entry=${name}]`);
      if (input && input !== document.activeElement && !input.hasAttribute('aria-invalid')) input.value = value;
    }
    for (const name of shown.values?.checked ?? []) {
      const words = shown.refused?.[name] ?? '';
      if (fault(name)) fault(name).textContent = words;
      const input = find(`[data-entry=${name}]`);
      if (words) input?.setAttribute('aria-invalid', 'true'); else input?.removeAttribute('aria-invalid');
    }
  },
};
