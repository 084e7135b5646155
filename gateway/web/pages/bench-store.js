// What a bench keeps in the browser, so that sign-on goes on while the gateway is away: today's
// rosters, and the turns that were tapped meanwhile. Nobody's spectra, no full names.

const DAY_MS = 864e5;
const QUEUE_MOST = 500;

function read(key) {
  try {
    return JSON.parse(localStorage.getItem(key)) || null;
  } catch {
    return null;
  }
}

function write(key, value) {
  try {
    localStorage.setItem(key, JSON.stringify(value));
    return true;
  } catch {
    return false;
  }
}

export function store(instrument) {
  const key = (name) => `bench:${instrument}:${name}`;
  return {
    /** Keeps what sign-on needs of a state. */
    keep(state) {
      const { instrument: about, sections, cautions } = state;
      write(key('kept'), { at: Date.now(), state: { instrument: about, sections, cautions } });
    },
    /** What was kept today, or null. */
    kept() {
      const kept = read(key('kept'));
      return kept && Date.now() - kept.at < DAY_MS ? kept.state : null;
    },
    queue: () => read(key('queue')) || [],
    /** False: it could not be kept (the browser's storage is full or forbidden). */
    push(deed) {
      const list = read(key('queue')) || [];
      return list.length < QUEUE_MOST && write(key('queue'), [...list, deed]);
    },
    shift() {
      write(key('queue'), (read(key('queue')) || []).slice(1));
    },
    /** The turn that was opened while away, so that a reload shows it. */
    turn: () => read(key('turn')),
    setTurn: (turn) => write(key('turn'), turn),
    last: (section) => read(key(`last:${section}`)),
    setLast: (section, choice) => write(key(`last:${section}`), choice),
  };
}
