-- What was removed for good, and why. These rows hold ids and digests, never names.
-- `kind`: 'person', 'measurement' or 'object'; `subject`: its id, or the object's digest in
-- hexadecimal; `spectra`: for a person 'keep' or 'remove', else ''. `listed` once it stands in the
-- list outside the database (erasures.jsonl), which a restored database is brought up to.
CREATE TABLE removal (
    id INTEGER NOT NULL PRIMARY KEY,
    at_us INTEGER NOT NULL,
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    spectra TEXT NOT NULL,
    actor INTEGER NOT NULL,
    actor_id INTEGER NOT NULL,
    reason TEXT NOT NULL,
    listed INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX removal_unlisted ON removal (id) WHERE listed = 0;

-- The tombstone of a measurement: what its number answers to those who might have seen it.
CREATE TABLE removed_measurement (
    measurement_id INTEGER NOT NULL PRIMARY KEY,
    accession INTEGER NOT NULL UNIQUE,
    instrument_id INTEGER NOT NULL,
    section_id INTEGER,
    removal_id INTEGER NOT NULL REFERENCES removal (id)
) STRICT;

CREATE TABLE removed_person (
    measurement_id INTEGER NOT NULL REFERENCES removed_measurement (measurement_id),
    person_id INTEGER NOT NULL,
    PRIMARY KEY (measurement_id, person_id)
) STRICT;
CREATE INDEX removed_person_person ON removed_person (person_id);

-- Which spectra of which bytes are gone, so that sending the bytes again makes none of them anew.
CREATE TABLE removed_rendition (
    sha256 BLOB NOT NULL,
    block INTEGER NOT NULL,
    measurement_id INTEGER NOT NULL REFERENCES removed_measurement (measurement_id),
    PRIMARY KEY (sha256, block, measurement_id)
) STRICT;

-- An object is 'removing' until its file is gone from the store, then 'removed'.
CREATE INDEX object_removing ON object (sha256) WHERE state = 'removing';
