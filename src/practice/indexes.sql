-- prepare
-- Every question of a search finds its rows here, whatever else the tables hold.
DROP INDEX IF EXISTS token_by_code;
DROP INDEX IF EXISTS link_by_id;
-- A code, of any system, of one, or of none.
CREATE INDEX IF NOT EXISTS token_by_value ON token (code, parameter, system, resource);
-- Any code of a system.
CREATE INDEX IF NOT EXISTS token_by_system ON token (system, parameter, resource);
CREATE INDEX IF NOT EXISTS token_by_resource ON token (resource);
-- Who refers to this, by any parameter or by one.
CREATE INDEX IF NOT EXISTS link_to ON link (id, parameter, kind, resource);
CREATE INDEX IF NOT EXISTS link_by_resource ON link (resource);
-- What begins, or ends, before or after a time.
CREATE INDEX IF NOT EXISTS span_by_low ON span (parameter, low, high, resource);
CREATE INDEX IF NOT EXISTS span_by_high ON span (parameter, high, low, resource);
CREATE INDEX IF NOT EXISTS span_by_resource ON span (resource);
