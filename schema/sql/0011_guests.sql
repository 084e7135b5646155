-- Visitors' spectra and labels live for 30 days: found without looking at everybody else's.
CREATE INDEX stamp_guest ON stamp (at_us) WHERE guest <> '' AND guest <> 'Name removed';
CREATE INDEX turn_guest ON turn (opened_us) WHERE guest <> '' AND guest <> 'Name removed';
