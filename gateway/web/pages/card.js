// One's own bench card and PIN.

import { get, post } from './api.js';
import { act, field, fill, h, whenSubmitted } from './dom.js';
import { moment } from './words.js';

function cardPart(about, load) {
  const make = (anew) => async () => {
    await post('/me/card', { anew });
    await load();
  };
  if (!about.card)
    return h('div', { class: 'row' }, act('Make my bench card', make(false), { kind: 'primary' }));
  return [
    h('p', 'Made ', moment(about.card_us), '. Show it to the code reader at a bench, on paper or on this screen.'),
    h('img', {
      class: 'bench-card',
      src: `/api/v1/me/card.png?made=${about.card_us}`,
      alt: 'Your bench card as a QR code',
      width: 270,
      height: 360,
    }),
    h(
      'div',
      { class: 'row' },
      h('a', { class: 'button', href: '/api/v1/me/card.pdf' }, 'To print (PDF)'),
      act('I lost it: make another one', make(true), { kind: 'quiet' }),
    ),
  ];
}

function pinPart(about, load) {
  const pin = h('input', {
    name: 'pin',
    required: true,
    inputmode: 'numeric',
    autocomplete: 'off',
    pattern: '[0-9]{4,6}',
    maxlength: 6,
  });
  const form = h(
    'form',
    field(about.pin ? 'Another PIN' : 'PIN', pin, '4 to 6 digits, for benches only'),
    h('div', { class: 'row' }, h('button', 'Set the PIN')),
  );
  whenSubmitted(form, async (values) => {
    await post('/me/pin', values);
    await load();
  });
  return [
    about.pin && h('p', 'You have a PIN since ', moment(about.pin_us), '.'),
    form,
    about.pin &&
      act(
        'Without a PIN again',
        async () => {
          await post('/me/pin', { pin: '' });
          await load();
        },
        { kind: 'quiet' },
      ),
  ];
}

export async function card(main) {
  const load = async () => {
    const about = await get('/me/card');
    fill(
      main,
      h('h1', 'My bench card'),
      h('p', 'A card or a PIN signs you on at an instrument. Neither shows anybody your spectra.'),
      cardPart(about, load),
      h('h2', 'PIN'),
      pinPart(about, load),
    );
  };
  await load();
}
