-- What persons decided about a target as such, in order. Rows are only added; the last one of a
-- target counts. A row of the trail tells of each; there source and session are empty and version
-- is 0, because it belongs to no session.
CREATE TABLE target_decision (
  number INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, -- place in the order
  target TEXT NOT NULL REFERENCES target (name),     -- name of the target
  paused INTEGER NOT NULL CHECK (paused IN (0, 1)),  -- 1: nothing is sent any more; 0: it goes on
  at TEXT NOT NULL,                                  -- RFC 3339, UTC
  decided TEXT NOT NULL                              -- by whom and why; private
) STRICT;
CREATE INDEX target_decision_last ON target_decision (target, number);
CREATE TRIGGER target_decision_kept BEFORE UPDATE ON target_decision BEGIN
  SELECT RAISE(ABORT, 'decisions are only added');
END;
CREATE TRIGGER target_decision_kept_whole BEFORE DELETE ON target_decision BEGIN
  SELECT RAISE(ABORT, 'decisions are only added');
END;
