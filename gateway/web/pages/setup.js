// Set-up for the administrator: instruments, printers, people, courses with their sections, terms.

import { courses, course } from './setup-courses.js';
import { instruments } from './setup-instruments.js';
import { people } from './setup-people.js';
import { printers } from './setup-printers.js';
import { roster } from './setup-roster.js';
import { section } from './setup-section.js';
import { terms } from './setup-terms.js';
import { frameFor, router, tabBar } from './shell.js';
import { showProblem } from './dom.js';

async function begin() {
  const me = await frameFor('setup', 'administrator');
  if (!me) return;
  await router(
    {
      '': instruments,
      printers,
      people,
      courses,
      'courses/:code': course,
      'courses/:code/section/:section': section,
      terms,
      'courses/:course/roster/:section': roster,
    },
    tabBar([
      ['', 'Instruments'],
      ['printers', 'Printers'],
      ['people', 'People'],
      ['courses', 'Courses and sections'],
      ['terms', 'Terms'],
    ]),
  );
}

begin().catch(showProblem);
