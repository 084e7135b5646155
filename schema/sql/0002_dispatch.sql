-- dispatch: printers and deliveries. Every instant is UTC microseconds; ids are made by the application.

-- How a printer was when last asked (state, reasons, jobs) stands here for lists; it is written on
-- change, and at least once a minute while the printer answers.
CREATE TABLE printer (
    id INTEGER NOT NULL PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    uri TEXT NOT NULL,
    place TEXT NOT NULL,
    where_text TEXT NOT NULL DEFAULT '',
    paper TEXT NOT NULL DEFAULT 'a4',
    language TEXT NOT NULL DEFAULT 'pdf',
    behind_most INTEGER NOT NULL DEFAULT 10,
    mode TEXT NOT NULL DEFAULT 'on',
    mode_reason TEXT NOT NULL DEFAULT '',
    certificate TEXT NOT NULL DEFAULT '',
    state TEXT NOT NULL DEFAULT 'unknown',
    state_text TEXT NOT NULL DEFAULT '',
    reasons TEXT NOT NULL DEFAULT '',
    model TEXT NOT NULL DEFAULT '',
    media TEXT NOT NULL DEFAULT '',
    sides TEXT NOT NULL DEFAULT '',
    colour INTEGER,
    jobs INTEGER,
    seen_us INTEGER NOT NULL DEFAULT 0,
    changed_us INTEGER NOT NULL DEFAULT 0,
    created_us INTEGER NOT NULL,
    retired_us INTEGER
) STRICT;

CREATE TABLE delivery (
    id INTEGER NOT NULL PRIMARY KEY,
    kind TEXT NOT NULL,
    measurement_id INTEGER NOT NULL,
    person_id INTEGER NOT NULL,
    instrument_id INTEGER NOT NULL,
    course_id INTEGER NOT NULL DEFAULT 0,
    pages INTEGER NOT NULL DEFAULT 1,
    large_print INTEGER NOT NULL DEFAULT 0,
    mailing TEXT NOT NULL DEFAULT '',
    wanted_printer_id INTEGER NOT NULL DEFAULT 0,
    printer_id INTEGER NOT NULL DEFAULT 0,
    state TEXT NOT NULL,
    reason TEXT NOT NULL,
    -- the job's number at the printer; in_doubt from just before the first byte of the sheet leaves
    -- until the outcome is recorded
    job INTEGER NOT NULL DEFAULT 0,
    in_doubt INTEGER NOT NULL DEFAULT 0,
    -- what a person asked of one that is under way: 1 cancel it, 2 take it back and send it elsewhere
    withdraw INTEGER NOT NULL DEFAULT 0,
    attempts INTEGER NOT NULL DEFAULT 0,
    due_us INTEGER NOT NULL,
    lease_owner INTEGER NOT NULL DEFAULT 0,
    lease_until_us INTEGER NOT NULL DEFAULT 0,
    created_us INTEGER NOT NULL,
    changed_us INTEGER NOT NULL
) STRICT;
CREATE INDEX delivery_live ON delivery (state, due_us)
    WHERE state IN ('waiting', 'sending', 'printing', 'asking', 'uncertain');
CREATE INDEX delivery_person ON delivery (person_id, created_us);
CREATE INDEX delivery_measurement ON delivery (measurement_id);
CREATE INDEX delivery_printer ON delivery (printer_id, changed_us);

-- Every change of state, in order, with its reason; nothing here is ever altered.
CREATE TABLE delivery_event (
    delivery_id INTEGER NOT NULL REFERENCES delivery (id),
    number INTEGER NOT NULL,
    at_us INTEGER NOT NULL,
    state TEXT NOT NULL,
    printer_id INTEGER NOT NULL,
    reason TEXT NOT NULL,
    actor INTEGER NOT NULL,
    actor_id INTEGER NOT NULL,
    PRIMARY KEY (delivery_id, number)
) STRICT;

-- What a person wants of mail: 'course' (as the course has it), 'none', 'digest', 'each', 'link'.
CREATE TABLE mail_choice (
    person_id INTEGER NOT NULL PRIMARY KEY,
    choice TEXT NOT NULL,
    changed_us INTEGER NOT NULL
) STRICT;
