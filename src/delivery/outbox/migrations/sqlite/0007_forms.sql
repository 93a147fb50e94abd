-- The form that document and record were written in; 1 for what was accepted before this column was
-- there. A binary reads the forms it knows, and refuses newer ones by name.
ALTER TABLE session ADD COLUMN form INTEGER NOT NULL DEFAULT 1;
-- The same for what a document stated of a precaution.
ALTER TABLE precaution ADD COLUMN form INTEGER NOT NULL DEFAULT 1;
-- The same for the receipt; 1 while there is none.
ALTER TABLE item ADD COLUMN receipt_form INTEGER NOT NULL DEFAULT 1;
-- What a newer release wrote is looked for whenever somebody asks whether the service is ready.
CREATE INDEX session_form ON session (form) WHERE form <> 1;
CREATE INDEX precaution_form ON precaution (form) WHERE form <> 1;
CREATE INDEX item_receipt_form ON item (receipt_form) WHERE receipt_form <> 1;
-- Binaries of generation 3 can live with it, as long as nothing is written in a form after the first:
-- whoever writes one raises oldest to 7, because they do not ask for a form.
UPDATE schema_use SET newest = 7;
