// Fingers on the plot: one finger reads (and moves the view once it is zoomed), two fingers zoom.
// Up and down stays with the page (touch-action: pan-y in spectrum.css).

const distance = (a, b) => Math.max(20, Math.abs(a.x - b.x));

function moveView(u, data, from, by) {
  const first = data.x[0];
  const last = data.x[data.x.length - 1];
  const span = from.max - from.min;
  if (span >= last - first) return;
  const per = span / u.over.clientWidth;
  const sign = u.scales.x.dir === -1 ? 1 : -1;
  const low = Math.min(Math.max(from.min + sign * by * per, first), last - span);
  u.setScale('x', { min: low, max: low + span });
}

/** Listens on one plot. `data()` gives what is shown, `zoom(factor, about)` zooms. */
export function touch(u, data, zoom) {
  const fingers = new Map();
  let start = null;
  const place = (event) => {
    const box = u.over.getBoundingClientRect();
    return { x: event.clientX - box.left, y: event.clientY - box.top };
  };
  const begin = () => {
    const list = [...fingers.values()];
    start = {
      min: u.scales.x.min,
      max: u.scales.x.max,
      x: list[0]?.x,
      apart: list.length > 1 ? distance(list[0], list[1]) : 0,
    };
  };
  u.over.addEventListener('pointerdown', (event) => {
    if (event.pointerType !== 'touch') return;
    fingers.set(event.pointerId, place(event));
    begin();
    u.setCursor({ left: place(event).x, top: place(event).y });
  });
  u.over.addEventListener('pointermove', (event) => {
    if (!fingers.has(event.pointerId)) return;
    fingers.set(event.pointerId, place(event));
    const list = [...fingers.values()];
    if (list.length > 1) {
      const apart = distance(list[0], list[1]);
      zoom(start.apart / apart, u.posToVal((list[0].x + list[1].x) / 2, 'x'));
      start.apart = apart;
      return;
    }
    moveView(u, data(), start, list[0].x - start.x);
    u.setCursor({ left: list[0].x, top: list[0].y });
  });
  for (const name of ['pointerup', 'pointercancel', 'pointerleave']) {
    u.over.addEventListener(name, (event) => {
      if (fingers.delete(event.pointerId)) begin();
    });
  }
}
