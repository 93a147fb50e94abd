-- The next delivery that is due is found from the earliest on, however many wait and however many
-- people the store knows.
CREATE INDEX item_due ON item (target, due_at) WHERE state IN ('queued', 'sending', 'unknown');
-- Binaries of generation 3 can live with it.
UPDATE schema_use SET newest = 5;
