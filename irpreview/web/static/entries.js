// Kit, place and day: each entry is sent when it is left, and told on its own when it makes no sense.

import {ask, find} from './shared.js';

let number = 0;
const fault = (name) => find(`[data-fault=${name}]`);

export const entries = {
  begin: () => {
    find('#kit').addEventListener('change', (event) => {
      const name = event.target.dataset.entry;
      if (name) ask('enter', {values: {[name]: event.target.value}, number: ++number});
    });
  },
  apply: (shown) => {
    for (const [name, value] of Object.entries(shown.values?.entries ?? {})) {
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
