-- Which binaries may use the store: one row. The generation of a binary is the number of the last
-- migration it knows. Each migration sets newest to its own number, and oldest as well when binaries
-- before it cannot live with what it changes.
CREATE TABLE schema_use (
  only_row INTEGER NOT NULL PRIMARY KEY CHECK (only_row = 1), -- there is one
  oldest INTEGER NOT NULL,       -- generation of the oldest binary that may use the store
  newest INTEGER NOT NULL,       -- generation of the newest binary that may; newer ones migrate first
  moved_to TEXT                  -- where the store was moved, in words; NULL while it is in use
) STRICT;
INSERT INTO schema_use (only_row, oldest, newest) VALUES (1, 3, 3);
