// What every part of the page uses.

import {call} from './server.js';

export const find = (selector) => document.querySelector(selector);

// What was shown last: number of the answer, whose computer it is, the pictures that belong to the answer.
export const state = {version: 0, owner: false, pictures: {}, has_snap: false};

let show = () => {};
export const shown_by = (apply) => { show = apply; };

export const ask = (name, data = {}) => call(name, data, show);
