-- Every instant is UTC microseconds since 1970-01-01 (*_us); every id is made by the application.
-- Only the room named above a group of tables writes to it; joins for reading live in gateway/views.
-- Portable SQL: no rowid, no INSERT OR, no date functions.

-- db ------------------------------------------------------------------------------------------
CREATE TABLE setting (
    name TEXT NOT NULL PRIMARY KEY,
    value TEXT NOT NULL,
    changed_us INTEGER NOT NULL
) STRICT;

CREATE TABLE sequence (
    name TEXT NOT NULL PRIMARY KEY,
    next INTEGER NOT NULL
) STRICT;

-- Numbered events for live pages; the oldest are trimmed.
CREATE TABLE event (
    number INTEGER NOT NULL PRIMARY KEY,
    at_us INTEGER NOT NULL,
    topic TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;

-- ledger --------------------------------------------------------------------------------------
CREATE TABLE ledger (
    number INTEGER NOT NULL PRIMARY KEY,
    at_us INTEGER NOT NULL,
    actor INTEGER NOT NULL,
    actor_id INTEGER NOT NULL,
    verb TEXT NOT NULL,
    subject TEXT NOT NULL,
    detail_digest BLOB,
    hash BLOB NOT NULL
) STRICT;

-- places --------------------------------------------------------------------------------------
CREATE TABLE place (
    path TEXT NOT NULL PRIMARY KEY,
    x_m REAL,
    y_m REAL
) STRICT;

CREATE TABLE instrument (
    id INTEGER NOT NULL PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    place TEXT NOT NULL,
    technique TEXT NOT NULL DEFAULT 'infrared',
    accessory TEXT NOT NULL DEFAULT '',
    preparation TEXT NOT NULL DEFAULT '',
    plates TEXT NOT NULL DEFAULT '',
    first_printer_id INTEGER,
    second_printer_id INTEGER,
    name_pattern TEXT NOT NULL DEFAULT '',
    how_to_export TEXT NOT NULL DEFAULT '',
    cleaning_solvent TEXT NOT NULL DEFAULT '',
    solvents TEXT NOT NULL DEFAULT '',
    lab_resolution REAL NOT NULL DEFAULT 0,
    lab_scans INTEGER NOT NULL DEFAULT 0,
    lab_low REAL NOT NULL DEFAULT 0,
    lab_high REAL NOT NULL DEFAULT 0,
    paused_until_us INTEGER NOT NULL DEFAULT 0,
    created_us INTEGER NOT NULL,
    retired_us INTEGER
) STRICT;

-- people --------------------------------------------------------------------------------------
CREATE TABLE person (
    id INTEGER NOT NULL PRIMARY KEY,
    login TEXT NOT NULL UNIQUE,
    given TEXT NOT NULL,
    family TEXT NOT NULL,
    email TEXT NOT NULL DEFAULT '',
    alias TEXT NOT NULL DEFAULT '',
    password_hash TEXT,
    roles INTEGER NOT NULL DEFAULT 0,
    created_us INTEGER NOT NULL,
    erased_us INTEGER
) STRICT;

CREATE TABLE course (
    id INTEGER NOT NULL PRIMARY KEY,
    code TEXT NOT NULL UNIQUE,
    title TEXT NOT NULL,
    y_axis TEXT NOT NULL DEFAULT 'transmittance',
    printing TEXT NOT NULL DEFAULT 'ask',
    mailing TEXT NOT NULL DEFAULT 'digest',
    pages_a_day INTEGER NOT NULL DEFAULT 20,
    created_us INTEGER NOT NULL
) STRICT;

CREATE TABLE section (
    id INTEGER NOT NULL PRIMARY KEY,
    course_id INTEGER NOT NULL REFERENCES course (id),
    code TEXT NOT NULL,
    title TEXT NOT NULL DEFAULT '',
    place TEXT NOT NULL DEFAULT '',
    created_us INTEGER NOT NULL,
    ended_us INTEGER,
    UNIQUE (course_id, code)
) STRICT;

CREATE TABLE section_staff (
    section_id INTEGER NOT NULL REFERENCES section (id),
    person_id INTEGER NOT NULL REFERENCES person (id),
    roles INTEGER NOT NULL,
    PRIMARY KEY (section_id, person_id)
) STRICT;
CREATE INDEX section_staff_person ON section_staff (person_id, section_id);

CREATE TABLE enrolled (
    section_id INTEGER NOT NULL REFERENCES section (id),
    person_id INTEGER NOT NULL REFERENCES person (id),
    number TEXT NOT NULL DEFAULT '',
    card_hash BLOB,
    pin_hash BLOB,
    from_us INTEGER NOT NULL,
    to_us INTEGER,
    PRIMARY KEY (section_id, person_id)
) STRICT;
CREATE INDEX enrolled_person ON enrolled (person_id, section_id);
CREATE INDEX enrolled_card ON enrolled (card_hash);

CREATE TABLE meeting (
    id INTEGER NOT NULL PRIMARY KEY,
    section_id INTEGER NOT NULL REFERENCES section (id),
    starts_us INTEGER NOT NULL,
    ends_us INTEGER NOT NULL
) STRICT;
CREATE INDEX meeting_time ON meeting (starts_us, ends_us);
CREATE INDEX meeting_section ON meeting (section_id, starts_us);

CREATE TABLE experiment (
    id INTEGER NOT NULL PRIMARY KEY,
    course_id INTEGER NOT NULL REFERENCES course (id),
    code TEXT NOT NULL,
    title TEXT NOT NULL,
    technique TEXT NOT NULL DEFAULT 'infrared',
    expected INTEGER NOT NULL DEFAULT 1,
    preparation TEXT NOT NULL DEFAULT '',
    plates TEXT NOT NULL DEFAULT '',
    has_oh INTEGER NOT NULL DEFAULT 0,
    UNIQUE (course_id, code)
) STRICT;

CREATE TABLE experiment_sample (
    experiment_id INTEGER NOT NULL REFERENCES experiment (id),
    position INTEGER NOT NULL,
    name TEXT NOT NULL,
    PRIMARY KEY (experiment_id, position)
) STRICT;

CREATE TABLE session (
    token_hash BLOB NOT NULL PRIMARY KEY,
    person_id INTEGER NOT NULL REFERENCES person (id),
    created_us INTEGER NOT NULL,
    used_us INTEGER NOT NULL,
    expires_us INTEGER NOT NULL
) STRICT;
CREATE INDEX session_person ON session (person_id);

CREATE TABLE login_link (
    token_hash BLOB NOT NULL PRIMARY KEY,
    person_id INTEGER NOT NULL REFERENCES person (id),
    created_us INTEGER NOT NULL,
    expires_us INTEGER NOT NULL,
    used_us INTEGER
) STRICT;

CREATE TABLE throttle (
    name TEXT NOT NULL PRIMARY KEY,
    count INTEGER NOT NULL,
    from_us INTEGER NOT NULL
) STRICT;

CREATE TABLE turn (
    id INTEGER NOT NULL PRIMARY KEY,
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    section_id INTEGER REFERENCES section (id),
    experiment_id INTEGER REFERENCES experiment (id),
    sample TEXT NOT NULL DEFAULT '',
    kind TEXT NOT NULL DEFAULT 'sample',
    preparation TEXT NOT NULL DEFAULT '',
    plates TEXT NOT NULL DEFAULT '',
    guest TEXT NOT NULL DEFAULT '',
    opened_us INTEGER NOT NULL,
    done_us INTEGER,
    closed_us INTEGER,
    confirmed_us INTEGER,
    source TEXT NOT NULL,
    author_id INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX turn_instrument ON turn (instrument_id, opened_us);

CREATE TABLE turn_person (
    turn_id INTEGER NOT NULL REFERENCES turn (id),
    person_id INTEGER NOT NULL REFERENCES person (id),
    PRIMARY KEY (turn_id, person_id)
) STRICT;

-- fleet ---------------------------------------------------------------------------------------
CREATE TABLE join_code (
    code_hash BLOB NOT NULL PRIMARY KEY,
    kind TEXT NOT NULL,
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    created_us INTEGER NOT NULL,
    expires_us INTEGER NOT NULL,
    used_us INTEGER
) STRICT;

CREATE TABLE agent (
    id INTEGER NOT NULL PRIMARY KEY,
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    token_hash BLOB NOT NULL UNIQUE,
    platform TEXT NOT NULL DEFAULT '',
    version TEXT NOT NULL DEFAULT '',
    joined_us INTEGER NOT NULL,
    revoked_us INTEGER,
    seen_us INTEGER NOT NULL,
    offset_us INTEGER NOT NULL DEFAULT 0,
    queue_count INTEGER NOT NULL DEFAULT 0,
    queue_bytes INTEGER NOT NULL DEFAULT 0,
    queue_oldest_us INTEGER,
    disk_free INTEGER NOT NULL DEFAULT 0,
    spool_stopped INTEGER NOT NULL DEFAULT 0,
    refused INTEGER NOT NULL DEFAULT 0,
    folders TEXT NOT NULL DEFAULT '[]',
    ledger_number INTEGER NOT NULL DEFAULT 0,
    ledger_hash BLOB,
    ledger_ok INTEGER NOT NULL DEFAULT 1
) STRICT;
CREATE INDEX agent_instrument ON agent (instrument_id);

-- How far an agent's clock is from ours, over time; one row a change of more than a second.
CREATE TABLE clock_sample (
    agent_id INTEGER NOT NULL REFERENCES agent (id),
    at_us INTEGER NOT NULL,
    boot_id TEXT NOT NULL,
    steady_us INTEGER NOT NULL,
    offset_us INTEGER NOT NULL,
    PRIMARY KEY (agent_id, at_us)
) STRICT;

CREATE TABLE agent_event (
    id INTEGER NOT NULL PRIMARY KEY,
    agent_id INTEGER NOT NULL REFERENCES agent (id),
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    at_us INTEGER NOT NULL,
    kind TEXT NOT NULL,
    text TEXT NOT NULL
) STRICT;
CREATE INDEX agent_event_instrument ON agent_event (instrument_id, at_us);

CREATE TABLE bench (
    id INTEGER NOT NULL PRIMARY KEY,
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    token_hash BLOB NOT NULL UNIQUE,
    enrolled_us INTEGER NOT NULL,
    revoked_us INTEGER,
    seen_us INTEGER NOT NULL
) STRICT;

-- A state and how long it held: subject 'gateway', 'agent', 'printer'.
CREATE TABLE span (
    id INTEGER NOT NULL PRIMARY KEY,
    subject TEXT NOT NULL,
    subject_id INTEGER NOT NULL,
    state TEXT NOT NULL,
    from_us INTEGER NOT NULL,
    to_us INTEGER
) STRICT;
CREATE INDEX span_subject ON span (subject, subject_id, from_us);

-- archive -------------------------------------------------------------------------------------
CREATE TABLE object (
    sha256 BLOB NOT NULL PRIMARY KEY,
    size INTEGER NOT NULL,
    state TEXT NOT NULL,
    format TEXT NOT NULL DEFAULT 'unknown',
    error_text TEXT,
    error_line INTEGER,
    error_column INTEGER,
    first_us INTEGER NOT NULL
) STRICT;
CREATE INDEX object_unread ON object (first_us) WHERE error_text IS NOT NULL;

CREATE TABLE staged (
    sha256 BLOB NOT NULL PRIMARY KEY,
    size INTEGER NOT NULL,
    encoding TEXT NOT NULL,
    body BLOB NOT NULL
) STRICT;

CREATE TABLE capture (
    id INTEGER NOT NULL PRIMARY KEY,
    agent_id INTEGER NOT NULL,
    number INTEGER NOT NULL,
    sha256 BLOB NOT NULL REFERENCES object (sha256),
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    path TEXT NOT NULL,
    mtime_us INTEGER NOT NULL,
    captured_us INTEGER NOT NULL,
    steady_us INTEGER NOT NULL,
    boot_id TEXT NOT NULL,
    corrected_us INTEGER NOT NULL,
    received_us INTEGER NOT NULL,
    backfill INTEGER NOT NULL DEFAULT 0,
    brought_by INTEGER,
    known INTEGER NOT NULL DEFAULT 0,
    ledger_number INTEGER NOT NULL,
    ledger_hash BLOB NOT NULL,
    UNIQUE (agent_id, number)
) STRICT;
CREATE INDEX capture_object ON capture (sha256);

CREATE TABLE measurement (
    id INTEGER NOT NULL PRIMARY KEY,
    accession INTEGER NOT NULL UNIQUE,
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    turn_id INTEGER REFERENCES turn (id),
    capture_id INTEGER NOT NULL REFERENCES capture (id),
    title TEXT NOT NULL DEFAULT '',
    technique TEXT NOT NULL,
    measured_us INTEGER NOT NULL,
    time_source TEXT NOT NULL,
    clock_corrected INTEGER NOT NULL DEFAULT 0,
    verdict TEXT NOT NULL,
    examination TEXT NOT NULL,
    kept TEXT NOT NULL DEFAULT 'open',
    kept_us INTEGER,
    counts INTEGER NOT NULL DEFAULT 0,
    asked INTEGER NOT NULL DEFAULT 0,
    suggestion TEXT,
    claim_hash BLOB,
    claim_until_us INTEGER,
    -- the newest stamp, repeated here for lists
    stamp_id INTEGER,
    section_id INTEGER,
    experiment_id INTEGER,
    unclaimed INTEGER NOT NULL DEFAULT 1
) STRICT;
CREATE INDEX measurement_section ON measurement (section_id, id);
CREATE INDEX measurement_instrument ON measurement (instrument_id, id);
CREATE INDEX measurement_turn ON measurement (turn_id);
CREATE INDEX measurement_unclaimed ON measurement (id) WHERE unclaimed = 1;
CREATE INDEX measurement_open ON measurement (id) WHERE kept = 'open';
CREATE INDEX measurement_claim ON measurement (claim_hash) WHERE claim_hash IS NOT NULL;

CREATE TABLE rendition (
    id INTEGER NOT NULL PRIMARY KEY,
    measurement_id INTEGER NOT NULL REFERENCES measurement (id),
    capture_id INTEGER NOT NULL REFERENCES capture (id),
    sha256 BLOB NOT NULL REFERENCES object (sha256),
    block INTEGER NOT NULL,
    format TEXT NOT NULL,
    points INTEGER NOT NULL,
    print BLOB,
    added_us INTEGER NOT NULL
) STRICT;
CREATE INDEX rendition_measurement ON rendition (measurement_id);
CREATE INDEX rendition_object ON rendition (sha256, block);

CREATE TABLE stamp (
    id INTEGER NOT NULL PRIMARY KEY,
    measurement_id INTEGER NOT NULL REFERENCES measurement (id),
    revision INTEGER NOT NULL,
    section_id INTEGER REFERENCES section (id),
    experiment_id INTEGER REFERENCES experiment (id),
    sample TEXT NOT NULL DEFAULT '',
    kind TEXT NOT NULL DEFAULT 'sample',
    preparation TEXT NOT NULL DEFAULT '',
    plates TEXT NOT NULL DEFAULT '',
    guest TEXT NOT NULL DEFAULT '',
    rule TEXT NOT NULL,
    author INTEGER NOT NULL,
    author_id INTEGER NOT NULL,
    reason TEXT NOT NULL DEFAULT '',
    at_us INTEGER NOT NULL,
    UNIQUE (measurement_id, revision)
) STRICT;

CREATE TABLE stamp_person (
    stamp_id INTEGER NOT NULL REFERENCES stamp (id),
    person_id INTEGER NOT NULL REFERENCES person (id),
    PRIMARY KEY (stamp_id, person_id)
) STRICT;

-- Whose a measurement is now (the newest stamp's persons), for a person's list.
CREATE TABLE owned (
    person_id INTEGER NOT NULL REFERENCES person (id),
    measurement_id INTEGER NOT NULL REFERENCES measurement (id),
    PRIMARY KEY (person_id, measurement_id)
) STRICT;
CREATE INDEX owned_measurement ON owned (measurement_id);

-- What staff should look at: 'same-data' (two measurements), 'saved-again' (known bytes in another
-- turn), 'unread' (an object that is no spectrum), 'instrument' (the same remark three turns running).
CREATE TABLE notice (
    id INTEGER NOT NULL PRIMARY KEY,
    kind TEXT NOT NULL,
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    measurement_id INTEGER,
    other_id INTEGER,
    capture_id INTEGER,
    turn_id INTEGER,
    text TEXT NOT NULL,
    at_us INTEGER NOT NULL,
    settled_us INTEGER,
    settled_by INTEGER
) STRICT;
CREATE INDEX notice_open ON notice (at_us) WHERE settled_us IS NULL;
CREATE INDEX notice_instrument ON notice (instrument_id, at_us);
