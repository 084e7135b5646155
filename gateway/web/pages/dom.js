// Elements without markup text: whatever comes from the gateway ends as text, never as HTML.

const SVG = 'http://www.w3.org/2000/svg';

function append(node, children) {
  for (const child of children.flat(Infinity)) {
    if (child === null || child === undefined || child === false) continue;
    node.append(child instanceof Node ? child : String(child));
  }
  return node;
}

function set(node, name, value) {
  if (value === null || value === undefined || value === false) return;
  if (name.startsWith('on')) node.addEventListener(name.slice(2), value);
  else if (name === 'value' || name === 'checked' || name === 'selected') node[name] = value;
  else node.setAttribute(name, value === true ? '' : String(value));
}

/** An element: h('p', {class: 'soft', onclick: f}, 'text', child, [more]). Properties may be left out. */
export function h(tag, properties, ...children) {
  const node = document.createElement(tag);
  const plain = properties && properties.constructor === Object;
  if (plain)
    for (const [name, value] of Object.entries(properties)) if (name !== 'value') set(node, name, value);
  append(node, plain ? children : [properties, ...children]);
  if (plain && 'value' in properties) set(node, 'value', properties.value);
  return node;
}

/** An SVG element. */
export function svg(tag, properties = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(properties)) node.setAttribute(name, value);
  return append(node, children);
}

/** Replaces what a node holds; the focus stays on the element of the same `data-key`, if there is one. */
export function fill(node, ...children) {
  const held = node.contains(document.activeElement) && document.activeElement.closest('[data-key]');
  node.replaceChildren();
  append(node, children);
  if (held) {
    const again = node.querySelector(`[data-key="${CSS.escape(held.dataset.key)}"]`);
    if (again) again.focus({ preventScroll: true });
  }
  return node;
}

/** Tells a screen reader, politely. */
export function announce(text) {
  let region = document.getElementById('spoken');
  if (!region) {
    region = h('div', { id: 'spoken', class: 'only-spoken', 'aria-live': 'polite', role: 'status' });
    document.body.append(region);
  }
  region.textContent = text;
}

/** A labelled field. `control` is an input, select or textarea. */
export function field(label, control, hint) {
  return h(
    'div',
    { class: 'field' },
    h('label', label, hint && h('span', { class: 'hint' }, ' ', hint), control),
  );
}

export function select(name, options, value, properties = {}) {
  return h(
    'select',
    { name, ...properties },
    options.map(([key, text]) =>
      h('option', { value: key, selected: String(key) === String(value ?? '') }, text),
    ),
  );
}

export function tick(name, label, checked, properties = {}) {
  return h('label', { class: 'tick' }, h('input', { type: 'checkbox', name, checked, ...properties }), label);
}

/** What a form holds, empty fields left out; several fields of one name become an array. */
export function formValues(form) {
  const values = {};
  for (const [name, value] of new FormData(form)) {
    if (typeof value !== 'string' || value.trim() === '') continue;
    if (name in values) values[name] = [].concat(values[name], value.trim());
    else values[name] = value.trim();
  }
  return values;
}

/** A button that does something that may fail: disabled meanwhile, trouble goes to `failed`. */
export function act(text, work, { kind = '', key, failed, ...rest } = {}) {
  const button = h('button', { type: 'button', class: kind, 'data-key': key, ...rest }, text);
  button.addEventListener('click', async () => {
    button.disabled = true;
    try {
      await work(button);
    } catch (problem) {
      (failed || showProblem)(problem, button);
    } finally {
      button.disabled = false;
    }
  });
  return button;
}

/** A box that says what went wrong; placed after `near`, or at the head of the page. */
export function showProblem(problem, near) {
  const home = near?.closest('form, .card, section, dialog, td') || document.querySelector('main');
  home.querySelector(':scope > .say.problem')?.remove();
  const line = problem.line ? ` (line ${problem.line})` : '';
  const box = h(
    'div',
    { class: 'say bad problem', role: 'alert' },
    h('p', (problem.message || String(problem)) + line),
  );
  if (near && near.closest('.row')?.parentElement === home) near.closest('.row').after(box);
  else home.prepend(box);
}

export function clearProblem(home = document) {
  for (const box of home.querySelectorAll('.say.problem')) box.remove();
}

export function whenSubmitted(form, work) {
  form.addEventListener('submit', async (event) => {
    event.preventDefault();
    clearProblem(form);
    const button = event.submitter || form.querySelector('button');
    if (button) button.disabled = true;
    try {
      await work(formValues(form), event.submitter);
    } catch (problem) {
      showProblem(problem, form);
    } finally {
      if (button) button.disabled = false;
    }
  });
  return form;
}

export function later(ms, work) {
  let timer = 0;
  return (...args) => {
    clearTimeout(timer);
    timer = setTimeout(() => work(...args), ms);
  };
}
