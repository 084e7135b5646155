// The JSON API of the gateway. Errors are problem details (RFC 9457) and become `Problem`.

const BASE = '/api/v1';
const PATIENCE_MS = 20000;

export class Problem extends Error {
  constructor(status, body) {
    super(body?.detail || body?.title || `The gateway answered ${status}.`);
    this.status = status;
    this.line = body?.line || 0;
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

async function call(method, path, body) {
  const options = {
    method,
    credentials: 'same-origin',
    headers: { Accept: 'application/json' },
    signal: AbortSignal.timeout(PATIENCE_MS),
  };
  if (body !== undefined) {
    options.body = JSON.stringify(body);
    options.headers['Content-Type'] = 'application/json';
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
  throw new Problem(response.status, answer);
}

export const get = (path) => call('GET', path);
export const post = (path, body = {}) => call('POST', path, body);
export const patch = (path, body) => call('PATCH', path, body);
export const remove = (path) => call('DELETE', path);
export const address = (path) => BASE + path;

export function query(values) {
  const list = Object.entries(values).filter(
    ([, value]) => value !== '' && value !== null && value !== undefined,
  );
  return list.length ? '?' + new URLSearchParams(list) : '';
}
