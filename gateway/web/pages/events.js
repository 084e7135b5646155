// Live events (server-sent events). The browser reconnects by itself and resumes by number; where it
// gives up (the gateway answered with an error), we ask again, ever more slowly.

import { address } from './api.js';

const FIRST_WAIT_MS = 2000;
const LONGEST_WAIT_MS = 30000;

/**
 * Follows topics such as 'instrument:7'. `heard(event)` gets {topic, at_us, body}; `reached(bool)`
 * hears when the stream stands or breaks. Returns a function that ends it.
 */
export function follow(topics, heard, reached = () => {}) {
  let source = null;
  let wait = FIRST_WAIT_MS;
  let timer = 0;
  let ended = false;
  const open = () => {
    source = new EventSource(address('/events?topics=' + encodeURIComponent(topics.join(','))));
    source.onopen = () => {
      wait = FIRST_WAIT_MS;
      reached(true);
    };
    source.onmessage = (message) => {
      try {
        heard(JSON.parse(message.data));
      } catch (error) {
        if (!(error instanceof SyntaxError)) throw error;
      }
    };
    source.onerror = () => {
      reached(false);
      if (source.readyState !== EventSource.CLOSED || ended) return;
      timer = setTimeout(open, wait);
      wait = Math.min(2 * wait, LONGEST_WAIT_MS);
    };
  };
  open();
  return () => {
    ended = true;
    clearTimeout(timer);
    source.close();
  };
}
