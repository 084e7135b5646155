-- people: sign-ins under way at the site's OpenID Connect provider, by the hash of the token that
-- the browser keeps. Each is used up when the browser comes back.
CREATE TABLE openid_flow (
    token_hash BLOB NOT NULL PRIMARY KEY,
    created_us INTEGER NOT NULL,
    expires_us INTEGER NOT NULL
) STRICT;
