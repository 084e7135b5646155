// Keeps the bench page for a reload while the gateway is away. The network goes first, always: what
// is kept answers only when the gateway does not. No data is kept here; the rosters are the page's own.

const KEPT = 'bench-1';
const SHELL = '/bench-away';
const FILES = [
  SHELL,
  '/style.css',
  '/parts.css',
  '/assets/uplot.css',
  '/spectrum.css',
  '/bench.css',
  '/icon.svg',
  '/hand-over.svg',
  '/bench.js',
  '/api.js',
  '/dom.js',
  '/events.js',
  '/words.js',
  '/bench-store.js',
  '/bench-cards.js',
  '/bench-sign-on.js',
  '/bench-turn.js',
  '/plot.js',
  '/plot-touch.js',
  '/assets/uplot.js',
];
const PATIENCE_MS = 5000;

self.addEventListener('install', (event) => {
  event.waitUntil(caches.open(KEPT).then((kept) => kept.addAll(FILES)));
  self.skipWaiting();
});
self.addEventListener('activate', (event) => event.waitUntil(self.clients.claim()));

const tooLong = () =>
  new Promise((_, fail) => setTimeout(() => fail(new Error('the gateway is slow')), PATIENCE_MS));

async function answer(request, name) {
  const kept = await caches.open(KEPT);
  try {
    const response = await Promise.race([fetch(request), tooLong()]);
    if ([502, 503, 504].includes(response.status)) throw new Error('the gateway is away');
    if (name !== SHELL && response.ok) await kept.put(name, response.clone());
    return response;
  } catch (problem) {
    const held = await kept.match(name);
    if (held) return held;
    throw problem;
  }
}

self.addEventListener('fetch', (event) => {
  const { request } = event;
  const { pathname, origin } = new URL(request.url);
  if (request.method !== 'GET' || origin !== self.location.origin) return;
  if (request.mode === 'navigate' && /^\/bench\/\d+$/.test(pathname)) event.respondWith(answer(request, SHELL));
  else if (FILES.includes(pathname)) event.respondWith(answer(request, pathname));
});
