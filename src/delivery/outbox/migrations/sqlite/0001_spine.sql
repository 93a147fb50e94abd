-- Sessions as accepted. Rows are never changed.
CREATE TABLE session (
  source TEXT NOT NULL,          -- the system the session was written in
  id TEXT NOT NULL,              -- UUID of the session
  version INTEGER NOT NULL,      -- version of the session, from 1
  subject TEXT NOT NULL,         -- SHA-256 of the identifier of the person
  document TEXT NOT NULL,        -- the session document in canonical form; private
  document_sha256 TEXT NOT NULL, -- SHA-256 of the document
  record TEXT NOT NULL,          -- the record as a transaction Bundle; private
  examined_at INTEGER NOT NULL,  -- start of the examination, ms since 1970 UTC
  withdrawn INTEGER NOT NULL,    -- 1 when this version withdraws the session, else 0
  accepted_at TEXT NOT NULL,     -- RFC 3339, UTC
  PRIMARY KEY (source, id, version)
) STRICT;

-- Precautions as each version of a session states them. What stands for an examination follows
-- from the latest versions of the sessions before it that are not withdrawn.
CREATE TABLE precaution (
  source TEXT NOT NULL,          -- of the session
  session TEXT NOT NULL,         -- UUID of the session
  version INTEGER NOT NULL,      -- of the session
  id TEXT NOT NULL,              -- UUID of the precaution
  subject TEXT NOT NULL,         -- SHA-256 of the identifier of the person
  stated TEXT NOT NULL,          -- the precaution as the document states it, JSON; private
  standing INTEGER NOT NULL,     -- 1 while it holds, 0 when lifted by name or entered in error
  PRIMARY KEY (source, session, version, id),
  FOREIGN KEY (source, session, version) REFERENCES session (source, id, version)
) STRICT;
CREATE INDEX precaution_of_person ON precaution (subject, id);

-- The record server a target name stands for: a name is never used for another one.
CREATE TABLE target (
  name TEXT NOT NULL PRIMARY KEY, -- name of the target
  base_sha256 TEXT NOT NULL       -- SHA-256 of its base address
) STRICT;

-- One lane for each target and person, and one for each instrument that has to be created.
-- Deliveries of one lane happen in order, one at a time.
CREATE TABLE lane (
  target TEXT NOT NULL,          -- name of the target
  subject TEXT NOT NULL,         -- SHA-256 of the identifier of the person, or of the instrument
  next_number INTEGER NOT NULL,  -- number the next item gets
  token TEXT,                    -- of the lease; NULL when nobody holds it
  lease_until INTEGER,           -- end of the lease, ms since 1970 UTC; NULL when nobody holds it
  PRIMARY KEY (target, subject)
) STRICT;

-- One delivery of one version of a session to one target.
CREATE TABLE item (
  id TEXT NOT NULL PRIMARY KEY,  -- UUID of the item
  target TEXT NOT NULL,          -- name of the target
  subject TEXT NOT NULL,         -- lane within the target
  number INTEGER NOT NULL,       -- place in the lane
  source TEXT NOT NULL,          -- of the session
  session TEXT NOT NULL,         -- UUID of the session
  version INTEGER NOT NULL,      -- of the session
  state TEXT NOT NULL CHECK (state IN
    ('queued', 'sending', 'unknown', 'delivered', 'refused', 'waiting', 'dropped')),
  attempts INTEGER NOT NULL,     -- attempts begun
  due_at INTEGER NOT NULL,       -- not before this, ms since 1970 UTC
  sent_at INTEGER,               -- when the last transaction left that may have arrived, ms since
                                 -- 1970 UTC; NULL when none did
  sends INTEGER NOT NULL,        -- transactions that left
  reason TEXT,                   -- code of what holds it up; NULL when nothing does
  words TEXT,                    -- what the server said; private; NULL when it said nothing
  confirmed TEXT,                -- reason codes a person has confirmed, comma between; NULL when none
  decided TEXT,                  -- what persons decided, by whom and why; private; NULL when nothing
  receipt TEXT,                  -- where the resources lie, JSON; NULL before delivery
  UNIQUE (target, subject, number),
  UNIQUE (target, source, session, version),
  FOREIGN KEY (target, subject) REFERENCES lane (target, subject),
  FOREIGN KEY (source, session, version) REFERENCES session (source, id, version)
) STRICT;
CREATE INDEX item_open ON item (target, subject, number)
  WHERE state NOT IN ('delivered', 'dropped');

-- What happened, in order. Rows are only added; each is bound to the one before by its hash.
CREATE TABLE trail (
  number INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, -- place in the trail
  at TEXT NOT NULL,              -- RFC 3339, UTC
  event TEXT NOT NULL,           -- what happened
  item TEXT,                     -- UUID of the item; NULL for a session as such
  target TEXT,                   -- name of the target; NULL for a session as such
  source TEXT NOT NULL,          -- of the session
  session TEXT NOT NULL,         -- UUID of the session
  version INTEGER NOT NULL,      -- of the session
  detail TEXT NOT NULL,          -- codes, counts, hashes and references, JSON; nothing about a person
  sha256 TEXT NOT NULL           -- over the hash before it and this row
) STRICT;
CREATE TRIGGER trail_kept BEFORE UPDATE ON trail BEGIN
  SELECT RAISE(ABORT, 'the trail is only added to');
END;
CREATE TRIGGER trail_kept_whole BEFORE DELETE ON trail BEGIN
  SELECT RAISE(ABORT, 'the trail is only added to');
END;
