-- archive: what intake and lists look up stays as quick with a million measurements as with ten.

-- What a turn has, how late its last was, and how many were not to be run again, from the index alone.
DROP INDEX measurement_turn;
CREATE INDEX measurement_turn ON measurement (turn_id, measured_us, kept);

-- A section's grid and how many of its measurements are unclaimed, without the rows themselves, which
-- carry their examination.
DROP INDEX measurement_section;
CREATE INDEX measurement_section ON measurement (section_id, id, experiment_id, accession, verdict, counts, kept,
    measured_us, unclaimed, stamp_id);

-- The newest prints of an instrument. The instrument is the measurement's, which never changes.
ALTER TABLE rendition ADD COLUMN instrument_id INTEGER NOT NULL DEFAULT 0;
UPDATE rendition SET instrument_id =
    (SELECT m.instrument_id FROM measurement m WHERE m.id = rendition.measurement_id);
CREATE INDEX rendition_recent ON rendition (instrument_id, measurement_id) WHERE print IS NOT NULL;

-- people: the turn that is open at an instrument, and those that ended since some moment.
CREATE INDEX turn_now ON turn (instrument_id, opened_us) WHERE closed_us IS NULL;
CREATE INDEX turn_closed ON turn (instrument_id, closed_us);
