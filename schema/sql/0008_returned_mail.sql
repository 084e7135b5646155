-- dispatch: mail that came back after a mail server had taken it.

-- Which mail a delivery went with (0: none yet), and a keyed digest of the address it went to.
ALTER TABLE delivery ADD COLUMN mail_id INTEGER NOT NULL DEFAULT 0;
ALTER TABLE delivery ADD COLUMN mailed_to TEXT NOT NULL DEFAULT '';
CREATE INDEX delivery_mail ON delivery (mail_id) WHERE mail_id <> 0;

-- The last mail to a person that came back. `stopped`: nothing more is mailed to that address, which
-- is known by its keyed digest alone.
CREATE TABLE mail_returned (
    person_id INTEGER NOT NULL PRIMARY KEY,
    address_digest TEXT NOT NULL,
    stopped INTEGER NOT NULL,
    reason TEXT NOT NULL,
    at_us INTEGER NOT NULL
) STRICT;

-- How far a mailbox has been read (RFC 3501: message numbers hold as long as the validity does).
CREATE TABLE mailbox_place (
    name TEXT NOT NULL PRIMARY KEY,
    validity INTEGER NOT NULL,
    last_uid INTEGER NOT NULL,
    changed_us INTEGER NOT NULL
) STRICT;
