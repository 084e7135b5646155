-- Terms, weekly meetings and what is due around a class. Days are local calendar days written as
-- 20260302, times of day are minutes after local midnight: a class at 14:00 stays at 14:00 when
-- summer time begins or ends. Weekly meetings expand into rows of `meeting`, which is what
-- everybody reads; what has begun is never touched again.

-- people --------------------------------------------------------------------------------------
CREATE TABLE term (
    id INTEGER NOT NULL PRIMARY KEY,
    code TEXT NOT NULL UNIQUE,
    title TEXT NOT NULL DEFAULT '',
    first_day INTEGER NOT NULL,
    last_day INTEGER NOT NULL,
    -- the instant at which the last day is over, and when its sections were ended for it
    ends_us INTEGER NOT NULL,
    ended_us INTEGER,
    created_us INTEGER NOT NULL
) STRICT;

ALTER TABLE section ADD COLUMN term_id INTEGER REFERENCES term (id);
CREATE INDEX section_term ON section (term_id) WHERE term_id IS NOT NULL;

CREATE TABLE weekly (
    id INTEGER NOT NULL PRIMARY KEY,
    section_id INTEGER NOT NULL REFERENCES section (id),
    weekday INTEGER NOT NULL,
    starts_minute INTEGER NOT NULL,
    ends_minute INTEGER NOT NULL,
    -- 0: that of the section's term
    first_day INTEGER NOT NULL DEFAULT 0,
    last_day INTEGER NOT NULL DEFAULT 0,
    place TEXT NOT NULL DEFAULT '',
    created_us INTEGER NOT NULL,
    ended_us INTEGER
) STRICT;
CREATE INDEX weekly_section ON weekly (section_id);

-- One day of a weekly meeting that is left out (new_day 0) or held otherwise.
CREATE TABLE weekly_except (
    weekly_id INTEGER NOT NULL REFERENCES weekly (id),
    day INTEGER NOT NULL,
    new_day INTEGER NOT NULL DEFAULT 0,
    starts_minute INTEGER NOT NULL DEFAULT 0,
    ends_minute INTEGER NOT NULL DEFAULT 0,
    place TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (weekly_id, day)
) STRICT;

-- '' as place: the section's.
ALTER TABLE meeting ADD COLUMN weekly_id INTEGER REFERENCES weekly (id);
ALTER TABLE meeting ADD COLUMN weekly_day INTEGER NOT NULL DEFAULT 0;
ALTER TABLE meeting ADD COLUMN place TEXT NOT NULL DEFAULT '';
CREATE INDEX meeting_weekly ON meeting (weekly_id, weekly_day) WHERE weekly_id IS NOT NULL;

ALTER TABLE experiment ADD COLUMN ended_us INTEGER;

-- around a class ------------------------------------------------------------------------------
-- What has been said of a class: that its instruments were looked at before it, and that its end
-- is near. Kept by section and beginning, so that nothing is said twice, not after a restart either.
CREATE TABLE class_said (
    section_id INTEGER NOT NULL REFERENCES section (id),
    starts_us INTEGER NOT NULL,
    before_us INTEGER,
    red INTEGER NOT NULL DEFAULT 0,
    ending_us INTEGER,
    PRIMARY KEY (section_id, starts_us)
) STRICT;

-- Mails to staff on their way: made in the transaction of their reason, sent after it.
CREATE TABLE staff_mail (
    id INTEGER NOT NULL PRIMARY KEY,
    person_id INTEGER NOT NULL REFERENCES person (id),
    subject TEXT NOT NULL,
    body TEXT NOT NULL,
    due_us INTEGER NOT NULL,
    until_us INTEGER NOT NULL,
    tries INTEGER NOT NULL DEFAULT 0,
    sent_us INTEGER,
    given_up_us INTEGER
) STRICT;
CREATE INDEX staff_mail_due ON staff_mail (due_us) WHERE sent_us IS NULL AND given_up_us IS NULL;

-- archive -------------------------------------------------------------------------------------
-- 'instrument' notices: the remark that three turns had, and since when.
ALTER TABLE notice ADD COLUMN code TEXT NOT NULL DEFAULT '';
ALTER TABLE notice ADD COLUMN from_us INTEGER;
CREATE INDEX notice_fault ON notice (instrument_id, code) WHERE code <> '';

-- When the bench was told that nothing has arrived in a turn.
ALTER TABLE turn ADD COLUMN nothing_us INTEGER;
