-- people: bench cards, PINs, who waits ----------------------------------------------------------
-- A card and a PIN belong to the person: somebody in two sections carries one card. What the card
-- says is computed from the seed and a key that is not in the database; only hashes are here.
DROP INDEX enrolled_card;
ALTER TABLE enrolled DROP COLUMN card_hash;
ALTER TABLE enrolled DROP COLUMN pin_hash;

CREATE TABLE bench_card (
    person_id INTEGER NOT NULL PRIMARY KEY REFERENCES person (id),
    seed BLOB,
    card_hash BLOB UNIQUE,
    card_us INTEGER,
    pin_hash BLOB,
    pin_us INTEGER
) STRICT;
CREATE INDEX bench_card_pin ON bench_card (pin_hash);

-- Who came to an instrument while another's turn was open; listed: who asked to stand in the list.
CREATE TABLE waiting (
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    person_id INTEGER NOT NULL REFERENCES person (id),
    listed INTEGER NOT NULL DEFAULT 0,
    since_us INTEGER NOT NULL,
    until_us INTEGER NOT NULL,
    PRIMARY KEY (instrument_id, person_id)
) STRICT;

-- places: the lab's own picture of how to export ------------------------------------------------
CREATE TABLE instrument_picture (
    instrument_id INTEGER NOT NULL PRIMARY KEY REFERENCES instrument (id),
    type TEXT NOT NULL,
    bytes BLOB NOT NULL,
    changed_us INTEGER NOT NULL
) STRICT;
