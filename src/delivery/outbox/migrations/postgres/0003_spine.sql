-- The same tables as in SQLite after its migrations 1 to 3. Text is compared byte by byte, as there.

-- Which binaries may use the store: one row. The generation of a binary is the number of the last
-- migration it knows. Each migration sets newest to its own number, and oldest as well when binaries
-- before it cannot live with what it changes.
CREATE TABLE schema_use (
  only_row BIGINT NOT NULL PRIMARY KEY CHECK (only_row = 1), -- there is one
  oldest BIGINT NOT NULL,        -- generation of the oldest binary that may use the store
  newest BIGINT NOT NULL,        -- generation of the newest binary that may; newer ones migrate first
  moved_to TEXT                  -- where the store was moved, in words; NULL while it is in use
);
INSERT INTO schema_use (only_row, oldest, newest) VALUES (1, 3, 3);

-- Sessions as accepted. Rows are never changed.
CREATE TABLE session (
  source TEXT COLLATE "C" NOT NULL,      -- the system the session was written in
  id TEXT COLLATE "C" NOT NULL,          -- UUID of the session
  version BIGINT NOT NULL,               -- version of the session, from 1
  subject TEXT COLLATE "C" NOT NULL,     -- SHA-256 of the identifier of the person
  document TEXT NOT NULL,                -- the session document in canonical form; private
  document_sha256 TEXT NOT NULL,         -- SHA-256 of the document
  record TEXT NOT NULL,                  -- the record as a transaction Bundle; private
  examined_at BIGINT NOT NULL,           -- start of the examination, ms since 1970 UTC
  withdrawn BOOLEAN NOT NULL,            -- true when this version withdraws the session
  accepted_at TEXT COLLATE "C" NOT NULL, -- RFC 3339, UTC
  PRIMARY KEY (source, id, version)
);

-- Precautions as each version of a session states them. What stands for an examination follows
-- from the latest versions of the sessions before it that are not withdrawn.
CREATE TABLE precaution (
  source TEXT COLLATE "C" NOT NULL,  -- of the session
  session TEXT COLLATE "C" NOT NULL, -- UUID of the session
  version BIGINT NOT NULL,           -- of the session
  id TEXT COLLATE "C" NOT NULL,      -- UUID of the precaution
  subject TEXT COLLATE "C" NOT NULL, -- SHA-256 of the identifier of the person
  stated TEXT NOT NULL,              -- the precaution as the document states it, JSON; private
  standing BOOLEAN NOT NULL,         -- true while it holds, false when lifted by name or in error
  PRIMARY KEY (source, session, version, id),
  FOREIGN KEY (source, session, version) REFERENCES session (source, id, version)
);
CREATE INDEX precaution_of_person ON precaution (subject, id);

-- The record server a target name stands for: a name is never used for another one.
CREATE TABLE target (
  name TEXT COLLATE "C" NOT NULL PRIMARY KEY, -- name of the target
  base_sha256 TEXT NOT NULL                   -- SHA-256 of its base address
);

-- One lane for each target and person, and one for each instrument that has to be created.
-- Deliveries of one lane happen in order, one at a time. Its row is locked by whoever claims it.
CREATE TABLE lane (
  target TEXT COLLATE "C" NOT NULL,  -- name of the target
  subject TEXT COLLATE "C" NOT NULL, -- SHA-256 of the identifier of the person, or of the instrument
  next_number BIGINT NOT NULL,       -- number the next item gets
  token TEXT,                        -- of the lease; NULL when nobody holds it
  lease_until BIGINT,                -- end of the lease, ms since 1970 UTC by the clock of this
                                     -- database; NULL when nobody holds it
  PRIMARY KEY (target, subject)
);

-- One delivery of one version of a session to one target.
CREATE TABLE item (
  id TEXT COLLATE "C" NOT NULL PRIMARY KEY, -- UUID of the item
  target TEXT COLLATE "C" NOT NULL,  -- name of the target
  subject TEXT COLLATE "C" NOT NULL, -- lane within the target
  number BIGINT NOT NULL,            -- place in the lane
  source TEXT COLLATE "C" NOT NULL,  -- of the session
  session TEXT COLLATE "C" NOT NULL, -- UUID of the session
  version BIGINT NOT NULL,           -- of the session
  state TEXT NOT NULL CHECK (state IN
    ('queued', 'sending', 'unknown', 'delivered', 'refused', 'waiting', 'dropped')),
  attempts BIGINT NOT NULL,          -- attempts begun
  due_at BIGINT NOT NULL,            -- not before this, ms since 1970 UTC
  sent_at BIGINT,                    -- when the last transaction left that may have arrived, ms
                                     -- since 1970 UTC; NULL when none did
  sends BIGINT NOT NULL,             -- transactions that left
  reason TEXT,                       -- code of what holds it up; NULL when nothing does
  words TEXT,                        -- what the server said; private; NULL when it said nothing
  confirmed TEXT,                    -- reason codes a person has confirmed, comma between; NULL when
                                     -- none
  decided TEXT,                      -- what persons decided, by whom and why; private; NULL when
                                     -- nothing
  receipt TEXT,                      -- where the resources lie, JSON; NULL before delivery
  UNIQUE (target, subject, number),
  UNIQUE (target, source, session, version),
  FOREIGN KEY (target, subject) REFERENCES lane (target, subject),
  FOREIGN KEY (source, session, version) REFERENCES session (source, id, version)
);
CREATE INDEX item_open ON item (target, subject, number)
  WHERE state NOT IN ('delivered', 'dropped');

-- What happened, in order. Rows are only added; each is bound to the one before by its hash.
CREATE TABLE trail (
  number BIGINT NOT NULL PRIMARY KEY, -- place in the trail
  at TEXT NOT NULL,                   -- RFC 3339, UTC
  event TEXT NOT NULL,                -- what happened
  item TEXT,                          -- UUID of the item; NULL for a session as such
  target TEXT COLLATE "C",            -- name of the target; NULL for a session as such
  source TEXT NOT NULL,               -- of the session
  session TEXT COLLATE "C" NOT NULL,  -- UUID of the session
  version BIGINT NOT NULL,            -- of the session
  detail TEXT NOT NULL,               -- codes, counts, hashes and references, JSON; nothing about a
                                      -- person
  sha256 TEXT NOT NULL                -- over the hash before it and this row
);

-- The last number given in the trail: one row, locked by whoever adds to the trail, so that rows get
-- their numbers and hashes one after the other. A sequence would leave gaps.
CREATE TABLE trail_end (
  only_row BIGINT NOT NULL PRIMARY KEY CHECK (only_row = 1), -- there is one
  number BIGINT NOT NULL              -- of the last row of the trail; 0 while it is empty
);
INSERT INTO trail_end (only_row, number) VALUES (1, 0);

-- What persons decided about a target as such, in order. Rows are only added; the last one of a
-- target counts. A row of the trail tells of each; there source and session are empty and version
-- is 0, because it belongs to no session.
CREATE TABLE target_decision (
  number BIGINT GENERATED BY DEFAULT AS IDENTITY PRIMARY KEY, -- place in the order
  target TEXT COLLATE "C" NOT NULL REFERENCES target (name),  -- name of the target
  paused BOOLEAN NOT NULL,            -- true: nothing is sent any more; false: it goes on
  at TEXT NOT NULL,                   -- RFC 3339, UTC
  decided TEXT NOT NULL               -- by whom and why; private
);
CREATE INDEX target_decision_last ON target_decision (target, number);

CREATE FUNCTION only_added() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION '% is only added to', TG_TABLE_NAME;
END $$;
CREATE TRIGGER trail_kept BEFORE UPDATE OR DELETE OR TRUNCATE ON trail
  FOR EACH STATEMENT EXECUTE FUNCTION only_added();
CREATE TRIGGER target_decision_kept BEFORE UPDATE OR DELETE OR TRUNCATE ON target_decision
  FOR EACH STATEMENT EXECUTE FUNCTION only_added();
