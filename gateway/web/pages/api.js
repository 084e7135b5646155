// The JSON API of the gateway. Errors are problem details (RFC 9457) and become `Problem`.

const BASE = '/api/v1';
const PATIENCE_MS = 20000;

export class Problem extends Error {
  constructor(status, body, retryAfter = 0) {
    super(body?.detail || body?.title || `The gateway answered ${status}.`);
    this.status = status;
    this.line = body?.line || 0;
    this.retryAfter = retryAfter;
  }
}

/** The gateway was not reached, or nobody behind its proxy answered. What was asked may be asked again. */
export class Unreached extends Error {
  constructor() {
    super('The server was not reached. Please try again.');
  }
}

async function read(response) {
  const type = response.headers.get('Content-Type') || '';
  if (!type.includes('json')) return null;
  try {
    return await response.json();
  } catch {
    return null;
  }
}

async function ask(method, path, content, type, patience) {
  const options = {
    method,
    credentials: 'same-origin',
    headers: { Accept: 'application/json' },
    signal: AbortSignal.timeout(patience),
  };
  if (content !== undefined) {
    options.body = content;
    options.headers['Content-Type'] = type;
  }
  let response;
  let answer;
  try {
    response = await fetch(BASE + path, options);
    answer = await read(response);
  } catch {
    throw new Unreached();
  }
  if (response.ok) return answer;
  if ([502, 503, 504].includes(response.status) && !answer) throw new Unreached();
  throw new Problem(response.status, answer, Number(response.headers.get('Retry-After')) || 0);
}

const call = (method, path, body) =>
  ask(method, path, body && JSON.stringify(body), 'application/json', PATIENCE_MS);

export const get = (path) => call('GET', path);
export const post = (path, body = {}) => call('POST', path, body);
export const patch = (path, body) => call('PATCH', path, body);
export const remove = (path) => call('DELETE', path);
/** Sends the bytes of a file; slower than 16 KB/s counts as not reached. */
export const send = (path, bytes) =>
  ask('POST', path, bytes, 'application/octet-stream', PATIENCE_MS + bytes.byteLength / 16);
export const address = (path) => BASE + path;

export function query(values) {
  const list = Object.entries(values).filter(
    ([, value]) => value !== '' && value !== null && value !== undefined,
  );
  return list.length ? '?' + new URLSearchParams(list) : '';
}
