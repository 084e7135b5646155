// The interactive plot: wavenumbers fall to the right, read-out by mouse, touch and arrow keys, zoom,
// band labels, and the ordinate as %T or absorbance.

import { h, fill } from './dom.js';
import { touch } from './plot-touch.js';

const HEIGHT_MOST = 430;
const ABSORBANCE_MOST = 4;
const LEAST_SPAN = { a: 0.05 }; // so that noise fills no plot
const LABEL_ROOM = 16; // %T below zero, so that the label of a band cut off flat stands clear of it
let library = null;

/** Loads uPlot once, when the first plot is wanted. */
function load() {
  library ??= new Promise((resolve, reject) => {
    if (window.uPlot) {
      resolve(window.uPlot);
      return;
    }
    const script = h('script', { src: '/assets/uplot.js' });
    script.onload = () => resolve(window.uPlot);
    script.onerror = () => {
      library = null;
      reject(new Error('The plot could not be loaded.'));
    };
    document.head.append(script);
  });
  return library;
}

const color = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const X_UNITS = {
  'cm-1': ['Wavenumber', 'cm⁻¹'],
  nm: ['Wavelength', 'nm'],
  um: ['Wavelength', 'µm'],
  other: ['x', ''],
};
const absorbance = (t) => (t === null || t <= 0 ? null : Math.min(-Math.log10(t), ABSORBANCE_MOST));

/** Points as the gateway sends them, as rising x with the ordinates that can be shown. */
export function prepare(points) {
  const [long, unit] = X_UNITS[points.x_unit] || X_UNITS['cm-1'];
  const falls = points.x.length > 1 && points.x[0] > points.x[points.x.length - 1];
  const turn = (list) => (falls ? [...list].reverse() : list);
  const x = turn(points.x);
  const ordinates = {};
  if (points.t) {
    const t = turn(points.t);
    ordinates.t = {
      name: '%T',
      label: 'Transmittance / %',
      values: t.map((v) => (v === null ? null : 100 * v)),
    };
    ordinates.a = { name: 'Absorbance', label: 'Absorbance', values: t.map(absorbance) };
  } else {
    ordinates.y = {
      name: points.y_unit || 'y',
      label: points.y_unit || 'Ordinate',
      values: turn(points.y || []),
    };
  }
  return {
    x,
    unit,
    label: unit ? `${long} / ${unit}` : long,
    reversed: (points.x_unit || 'cm-1') === 'cm-1',
    ordinates,
    bands: points.examination?.bands || [],
    cutOff: points.examination?.cut_off ?? null,
  };
}

function limits(values) {
  let low = Infinity;
  let high = -Infinity;
  for (const value of values) {
    if (value === null) continue;
    if (value < low) low = value;
    if (value > high) high = value;
  }
  return low <= high ? [low, high] : [0, 1];
}

/* The ordinates in view, but for what the plates let nothing through of: there they mean nothing. */
function inView({ data, mode, seen: [from, to] }) {
  const first = Math.max(from, data.cutOff ?? from);
  const values = data.ordinates[mode].values;
  const some = values.filter((v, i) => data.x[i] >= first && data.x[i] <= to);
  return some.some((v) => v !== null) ? some : values;
}

function ordinateRange(view) {
  const { mode } = view;
  const [low, high] = limits(inView(view));
  if (mode === 't') return [Math.min(0, low) - LABEL_ROOM, Math.max(100, high) + 4];
  const room = 0.05 * Math.max(high - low, LEAST_SPAN[mode] ?? 0) || 0.05;
  return [Math.min(low, mode === 'a' ? 0 : low) - room, high + (mode === 'a' ? 5 : 1) * room];
}

const nearest = (x, wanted) => {
  let low = 0;
  let high = x.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (x[middle] < wanted) low = middle;
    else high = middle;
  }
  return Math.abs(x[low] - wanted) < Math.abs(x[high] - wanted) ? low : high;
};

/** Where the plates let nothing through, the curve says nothing: shaded, and said. */
function drawCutOff(u, view) {
  const { ctx, bbox } = u;
  const first = view.data.x[0];
  if (view.data.cutOff === null || view.data.cutOff <= Math.max(first, u.scales.x.min)) return;
  const from = Math.max(u.valToPos(view.data.cutOff, 'x', true), bbox.left);
  const to = Math.min(u.valToPos(first, 'x', true), bbox.left + bbox.width);
  const ratio = window.devicePixelRatio || 1;
  ctx.save();
  ctx.fillStyle = color('--rule');
  ctx.globalAlpha = 0.35;
  ctx.fillRect(Math.min(from, to), bbox.top, Math.abs(to - from), bbox.height);
  ctx.globalAlpha = 1;
  ctx.fillStyle = color('--soft');
  ctx.font = `${11 * ratio}px ${color('--sans') || 'sans-serif'}`;
  ctx.textAlign = 'right';
  ctx.textBaseline = 'top';
  ctx.fillText('plates', Math.max(from, to) - 3 * ratio, bbox.top + 3 * ratio);
  ctx.restore();
}

/** Writes band positions beside the bands, strongest first, leaving out what would overlap. */
function drawLabels(u, view) {
  const ratio = window.devicePixelRatio || 1;
  const { ctx, bbox } = u;
  const down = view.mode === 't';
  const taken = [];
  view.labels = [];
  ctx.save();
  ctx.font = `${12 * ratio}px ${color('--sans') || 'sans-serif'}`;
  ctx.fillStyle = color('--ink');
  ctx.strokeStyle = color('--soft');
  ctx.textBaseline = 'middle';
  for (const band of [...view.data.bands].sort((a, b) => (b.prominence || 0) - (a.prominence || 0))) {
    const at = u.valToPos(band.position, 'x', true);
    if (
      at < bbox.left ||
      at > bbox.left + bbox.width ||
      taken.some((other) => Math.abs(other - at) < 14 * ratio)
    )
      continue;
    const value = u.data[1][nearest(u.data[0], band.position)];
    if (value === null || value === undefined) continue;
    taken.push(at);
    const tip = u.valToPos(value, 'y', true);
    const text = band.air ? 'air' : String(Math.round(band.position));
    view.labels.push(text);
    const long = ctx.measureText(text).width;
    const sign = down ? 1 : -1;
    let start = tip + sign * 9 * ratio;
    if (down) start = Math.min(start, bbox.top + bbox.height - long - 2 * ratio);
    else start = Math.max(start, bbox.top + long + 2 * ratio);
    ctx.beginPath();
    ctx.moveTo(at, tip + sign * 2 * ratio);
    ctx.lineTo(at, start - sign * 2 * ratio);
    ctx.stroke();
    ctx.save();
    ctx.translate(at, start);
    ctx.rotate(-Math.PI / 2);
    ctx.textAlign = down ? 'right' : 'left';
    ctx.fillText(text, 0, 0);
    ctx.restore();
  }
  ctx.restore();
}

const AXIS = {
  stroke: () => color('--soft'),
  grid: { stroke: () => color('--rule'), width: 1 },
  ticks: { stroke: () => color('--rule'), width: 1 },
  font: '12px sans-serif',
  labelFont: '13px sans-serif',
};

function options(view, width, height) {
  const { data, mode } = view;
  return {
    width,
    height,
    legend: { show: false },
    cursor: { drag: { x: true, y: false, setScale: true }, points: { size: 8 }, y: false },
    scales: {
      x: { time: false, dir: data.reversed ? -1 : 1, range: (u, low, high) => (view.seen = [low, high]) },
      y: { range: () => ordinateRange(view) },
    },
    axes: [
      {
        ...AXIS,
        label: data.label,
        labelSize: 24,
        size: 36,
        space: 60,
        values: (u, ticks) => ticks.map((v) => String(v)),
      },
      {
        ...AXIS,
        values: (u, ticks) => ticks.map((v) => (mode === 't' && v < 0 ? '' : String(v))),
        label: data.ordinates[mode].label,
        labelSize: 22,
        size: 46,
      },
    ],
    series: [{}, { stroke: () => color('--accent'), width: 1.4, points: { show: false }, spanGaps: false }],
    hooks: {
      drawClear: [(u) => drawCutOff(u, view)],
      draw: [
        (u) => {
          drawLabels(u, view);
          u.root.dataset.labels = view.labels.join(' ');
        },
      ],
      setCursor: [() => view.readOut(false)],
    },
  };
}

/** How the read-out says a place: "1715.2 cm⁻¹ · 12.3 %T". */
function readText(view) {
  const { data, mode, u } = view;
  const i = u.cursor.idx;
  if (i === null || i === undefined) return '';
  const value = data.ordinates[mode].values[i];
  const shown =
    value === null
      ? 'no value'
      : mode === 't'
        ? `${value.toFixed(1)} %T`
        : mode === 'a'
          ? `${value.toFixed(3)} absorbance`
          : value.toPrecision(4);
  const x = data.x[i];
  const band = data.bands.find((b) => Math.abs(b.position - x) <= Math.max(4, (b.width || 0) / 2));
  return `${x.toFixed(1)} ${data.unit} · ${shown}${band ? ` · band at ${Math.round(band.position)}` : ''}`;
}

/** Zooms by `factor` about the read-out (or the middle), within what was measured. */
function zoom(view, factor, about) {
  const { u, data } = view;
  const { min, max } = u.scales.x;
  const middle =
    about ?? (u.cursor.idx !== null && u.cursor.idx !== undefined ? data.x[u.cursor.idx] : (min + max) / 2);
  const first = data.x[0];
  const last = data.x[data.x.length - 1];
  const span = Math.min(Math.max((max - min) * factor, (last - first) / 200), last - first);
  let low = middle - span * ((middle - min) / (max - min));
  low = Math.min(Math.max(low, first), last - span);
  u.setScale('x', { min: low, max: low + span });
}

function whole(view) {
  view.u.setScale('x', { min: view.data.x[0], max: view.data.x[view.data.x.length - 1] });
}

function step(view, by) {
  const { u, data } = view;
  const { min, max } = u.scales.x;
  const from = u.cursor.idx ?? nearest(data.x, (min + max) / 2);
  const i = Math.min(Math.max(from + by, 0), data.x.length - 1);
  if (data.x[i] < min || data.x[i] > max) return;
  u.setCursor({ left: u.valToPos(data.x[i], 'x'), top: 10 });
  view.readOut(true);
}

function onKey(view, event) {
  const right = view.data.reversed ? -1 : 1;
  const by = event.shiftKey ? 40 : 4;
  const deeds = {
    ArrowLeft: () => step(view, -right * by),
    ArrowRight: () => step(view, right * by),
    '+': () => zoom(view, 0.5),
    '=': () => zoom(view, 0.5),
    '-': () => zoom(view, 2),
    0: () => whole(view),
  };
  if (event.ctrlKey || event.metaKey || event.altKey || !deeds[event.key]) return;
  event.preventDefault();
  deeds[event.key]();
}

function controls(view, draw) {
  const modes = Object.entries(view.data.ordinates);
  const switches =
    modes.length > 1 &&
    h(
      'div',
      { class: 'choice', role: 'group', 'aria-label': 'Ordinate' },
      modes.map(([key, ordinate]) =>
        h(
          'button',
          {
            type: 'button',
            'aria-pressed': String(key === view.mode),
            'data-key': `mode-${key}`,
            onclick: () => {
              view.mode = key;
              draw();
            },
          },
          ordinate.name,
        ),
      ),
    );
  const small = (text, label, work) =>
    h(
      'button',
      { type: 'button', class: 'quiet', 'aria-label': label, title: label, 'data-key': label, onclick: work },
      text,
    );
  return [
    switches,
    h(
      'div',
      { class: 'choice' },
      small('+', 'Zoom in', () => zoom(view, 0.5)),
      small('−', 'Zoom out', () => zoom(view, 2)),
      small('Whole', 'Whole range', () => whole(view)),
    ),
  ];
}

function build(view, uPlot, parts) {
  const keep = view.u && { ...view.u.scales.x };
  view.u?.destroy();
  const width = Math.max(parts.box.clientWidth, 240);
  view.u = new uPlot(
    options(view, width, Math.min(HEIGHT_MOST, Math.max(240, Math.round(width * 0.55)))),
    [view.data.x, view.data.ordinates[view.mode].values],
    parts.box,
  );
  if (keep) view.u.setScale('x', { min: keep.min, max: keep.max });
  touch(
    view.u,
    () => view.data,
    (factor, about) => zoom(view, factor, about),
  );
}

/**
 * Draws into `home`. `points` as from /measurements/:id/points. Returns a function that ends it.
 * Throws if the library cannot be loaded.
 */
export async function plot(home, points, { title = 'Spectrum' } = {}) {
  const uPlot = await load();
  const data = prepare(points);
  const view = { data, mode: Object.keys(data.ordinates)[0], seen: [-Infinity, Infinity], u: null };
  const parts = {
    box: h('div', {
      class: 'plot-box',
      tabindex: 0,
      role: 'application',
      'aria-label': `${title}. Plot: arrow keys move the read-out, plus and minus zoom, 0 shows the whole range. The table of bands says the same in words.`,
    }),
    bar: h('div', { class: 'plot-bar' }),
    read: h('output', { class: 'read-out' }),
    spoken: h('span', { class: 'only-spoken', 'aria-live': 'polite' }),
  };
  const resting = 'Point at the curve to read it; drag to zoom, double-click for the whole.';
  view.readOut = (aloud) => {
    const text = view.u ? readText(view) : '';
    parts.read.textContent = text || resting;
    if (aloud) parts.spoken.textContent = text;
  };
  const draw = () => {
    build(view, uPlot, parts);
    fill(parts.bar, controls(view, draw));
  };
  fill(home, parts.bar, parts.box, parts.read, parts.spoken);
  draw();
  view.readOut(false);
  parts.box.addEventListener('keydown', (event) => onKey(view, event));
  const watch = new ResizeObserver(() => {
    if (Math.abs(parts.box.clientWidth - view.u.width) > 2) build(view, uPlot, parts);
  });
  watch.observe(home);
  const dark = matchMedia('(prefers-color-scheme: dark)');
  const redraw = () => view.u.redraw();
  dark.addEventListener('change', redraw);
  return () => {
    watch.disconnect();
    dark.removeEventListener('change', redraw);
    view.u.destroy();
  };
}
