-- When the content of a session was purged, RFC 3339, UTC; NULL while it is there. Of a purged session
-- document and record are empty, and what stands of its precautions stays. Its row, its hash and its
-- deliveries stay too: it is still known what was sent, and that it is not to be sent again.
ALTER TABLE session ADD COLUMN purged_at TEXT;
-- By which rule, or by whom and why; private; NULL while the content is there.
ALTER TABLE session ADD COLUMN purged_why TEXT;
-- What is purged next is found from the earliest accepted on.
CREATE INDEX session_content ON session (accepted_at) WHERE purged_at IS NULL;
-- What is known of a person, and what was queued of a session, are asked with every accept.
CREATE INDEX session_of_person ON session (subject, examined_at);
CREATE INDEX item_of_session ON item (source, session, version);
-- Binaries of generation 3 can live with it, as long as nothing is purged: the first purge raises
-- oldest to 6, because they would take an empty document for a damaged one.
UPDATE schema_use SET newest = 6;
