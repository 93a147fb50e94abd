-- Codes of what is urgent in a session, a comma between; NULL where nothing is, and for what was
-- accepted before this column was there. 'precaution.new', or a row of cautions.csv.
ALTER TABLE session ADD COLUMN urgent TEXT;
CREATE INDEX session_urgent ON session (source, id, version) WHERE urgent IS NOT NULL;
-- Whether somebody was alerted of a delivery is asked again and again.
CREATE INDEX trail_alerted ON trail (item) WHERE event = 'alerted';
-- Binaries of generation 3 can live with it.
UPDATE schema_use SET newest = 4;
