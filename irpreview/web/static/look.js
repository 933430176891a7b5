// Sets the look that was chosen last before anything is drawn.
'use strict';
{
  const kept = localStorage.getItem('irpreview-look');
  const dark = matchMedia('(prefers-color-scheme: dark)').matches;
  document.documentElement.dataset.look = ['day', 'evening', 'night'].includes(kept) ? kept : dark ? 'evening' : 'day';
}
