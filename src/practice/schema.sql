-- prepare
-- A resource and which of its versions holds.
CREATE TABLE resource (
    number  INTEGER PRIMARY KEY, -- the order in which resources were made; the key of the index
    kind    TEXT NOT NULL,       -- its type, e.g. Observation
    id      TEXT NOT NULL,       -- its id, given by this server
    version INTEGER NOT NULL,    -- the number of the current version
    deleted INTEGER NOT NULL,    -- 1 where the current version is its deletion
    UNIQUE (kind, id)
);
-- Every version there ever was; rows are added and never changed.
CREATE TABLE version (
    resource INTEGER NOT NULL REFERENCES resource (number), -- whose version
    number   INTEGER NOT NULL,                              -- counted from 1
    updated  TEXT NOT NULL,                                 -- when it was stored, an R4 instant
    method   TEXT NOT NULL,                                 -- POST, PUT or DELETE
    body     TEXT,                                          -- the JSON; NULL where this is a deletion
    PRIMARY KEY (resource, number)
) WITHOUT ROWID;
-- Codes and identifiers of current versions.
CREATE TABLE token (
    resource  INTEGER NOT NULL REFERENCES resource (number), -- whose token
    parameter TEXT NOT NULL,                                 -- the search parameter, e.g. code
    system    TEXT,                                          -- the system; NULL where none is given
    code      TEXT NOT NULL                                  -- the code, or the identifier's value
);
-- References of current versions into this server.
CREATE TABLE link (
    resource  INTEGER NOT NULL REFERENCES resource (number), -- who refers
    parameter TEXT NOT NULL,                                 -- the search parameter, e.g. subject
    kind      TEXT NOT NULL,                                 -- the type referred to
    id        TEXT NOT NULL                                  -- the id referred to
);
-- Times of current versions.
CREATE TABLE span (
    resource  INTEGER NOT NULL REFERENCES resource (number), -- whose time
    parameter TEXT NOT NULL,                                 -- the search parameter, e.g. date
    low       INTEGER NOT NULL,                              -- first millisecond inside, UTC
    high      INTEGER NOT NULL                               -- first millisecond after, UTC
);
PRAGMA user_version = 1;
