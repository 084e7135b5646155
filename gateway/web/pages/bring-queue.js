// Files from a stick: which are taken, and sending them one after another.

import { send, Problem, Unreached } from './api.js';
import { size } from './words.js';

// The types that an instrument's agent takes as well (docs/agent.md).
const TAKEN = ['jdx', 'dx', 'jcm', 'jcamp', 'csv', 'tsv', 'txt', 'asc', 'prn', 'dat'];
export const TAKEN_WORDS = TAKEN.map((end) => `.${end}`).join(' ');
const LARGEST = 64 * 1024 * 1024;
const NAME_MOST = 1024;
const TRIES = 4;
const WAIT_MS = 2000;
const LONGEST_WAIT_S = 60;

const ending = (name) => (/\.([^.]+)$/.exec(name)?.[1] || '').toLowerCase();
const passing = (name) => /^[.~]|~$/.test(name);

/** Why a file is not taken; '' if it is. */
export function refusal(file, path) {
  if (passing(file.name)) return 'a hidden or passing file';
  if (!TAKEN.includes(ending(file.name)))
    return ending(file.name) ? `.${ending(file.name)} is not an open format` : 'its name has no ending';
  if (file.size === 0) return 'empty';
  if (file.size > LARGEST) return `larger than ${size(LARGEST)}`;
  return new TextEncoder().encode(path).length > NAME_MOST ? 'its name is too long' : '';
}

/** A chosen file as it stands in the list. `state`: waiting, sending, done, failed, left. */
export function entry(file) {
  const path = file.webkitRelativePath || file.name;
  const why = refusal(file, path);
  return { file, path, state: why ? 'left' : 'waiting', text: why, answer: null };
}

export const same = (a, b) =>
  a.path === b.path && a.file.size === b.file.size && a.file.lastModified === b.file.lastModified;

const sleep = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

function address(instrument, one) {
  const search = new URLSearchParams({ name: one.path, mtime_us: one.file.lastModified * 1000 });
  return `/instruments/${instrument}/captures?${search}`;
}

/** True if the same may work a little later. */
const passes = (problem) =>
  problem instanceof Unreached || (problem instanceof Problem && [408, 429, 503].includes(problem.status));

const unreadable = (problem) => problem instanceof DOMException && problem.name !== 'AbortError';

async function sendOne(instrument, one, stopped) {
  // Read first, so that a stick that was pulled out is told from a gateway that is away.
  const bytes = await one.file.arrayBuffer();
  for (let tries = 1; ; tries++) {
    try {
      return await send(address(instrument, one), bytes);
    } catch (problem) {
      if (!passes(problem) || tries === TRIES || stopped()) throw problem;
      await sleep(Math.min(problem.retryAfter || 0, LONGEST_WAIT_S) * 1000 || WAIT_MS * tries);
    }
  }
}

function failed(one, problem) {
  one.state = 'failed';
  one.text = unreadable(problem)
    ? 'could not be read: is the stick still in?'
    : problem.message || String(problem);
}

/**
 * Sends what waits or failed before, in the order of the list. `changed(one)` after each step;
 * `stopped()` is asked before each file. Ends early where nothing further can work: returns why, or ''.
 */
export async function sendAll(instrument, list, changed, stopped) {
  for (const one of list.filter((each) => each.state === 'failed')) one.state = 'waiting';
  for (const one of list) {
    if (one.state !== 'waiting') continue;
    if (stopped()) return '';
    one.state = 'sending';
    changed(one);
    try {
      one.answer = await sendOne(instrument, one, stopped);
      one.state = 'done';
      one.text = '';
    } catch (problem) {
      failed(one, problem);
      changed(one);
      if (problem instanceof Problem && [401, 403, 404].includes(problem.status))
        return problem.status === 401
          ? 'You are no longer signed in. Sign in in another window of this browser, then press Send again.'
          : problem.message;
      if (passes(problem)) return `${problem.message} What was sent is safe; press Send to go on.`;
    }
    changed(one);
  }
  return '';
}
