//! What stands at the end of each help text: examples, and what the exit code says.

pub(super) const WHOLE: &str = "\
Begin with:
  fascicle demo                              all of it on this machine, with invented people
  fascicle target --to BASE                  will it work with our record server?
  fascicle check session.json                does this session document hold?
  fascicle send --state DIR --to BASE session.json
  fascicle serve --config fascicle.toml      the same over HTTP, for good

Exit codes:
  0   done
  1   something is wrong with what was given
  2   the command line is not understood
  3   cautions wait for a named person's confirmation
  4   accepted and kept, not delivered yet; or a record server does not answer
  5   accepted and kept; a person has to decide
  70  a fault of the program or the machine

BASE is the address of a FHIR R4 service, such as https://record.hospital.example/fhir.
Colour is used in help only, and not where NO_COLOR is set.";

pub(super) const DEMO: &str = "\
Examples:
  fascicle demo --exit       show it and end
  fascicle demo              show it, then keep the practice server open for a look

Nothing leaves this machine, and nothing is kept.
Exit codes: 0 done; 70 a fault.";

pub(super) const ENCODE: &str = "\
Examples:
  fascicle encode session.json                        to standard output
  fascicle encode session.json --out bundle.json      to a file that only you can read
  fascicle encode --ndjson first.json second.json     several, one Bundle a line
  fascicle encode --compare first.json second.json    what was compared, with the rows used
  fascicle encode --earlier first.json second.json    the second, compared with the first
  fascicle encode --compare --earlier-from store --state ./state session.json
  fascicle encode --compare --earlier-from target --to BASE session.json
  fascicle encode --compare --reference-table vairo-2012 session.json
  fascicle encode --report session.json               with its summary as a DiagnosticReport
  fascicle encode --session session.json findings.csv     one finding a row, the session beside it
  fascicle encode --ndjson month.csv --out month.ndjson   many sessions, their columns in each row
  fascicle encode --csv session.json --out session.csv    for a spreadsheet, and back
  fascicle encode --notation sftr session.json            elbow, extension/flexion: S 0-20-150
  fascicle encode session.json --plots plots          and a picture of each trace

CSV is RFC 4180 in UTF-8: commas, a header, one finding a row. A column is a field of the session
document by its path, items of a list counted from 1: side, value.lacks, precautions.1.site, session.id;
fascicle check --columns lists them all. An empty cell leaves the field out. What holds for the session is
repeated in each of its rows, or stands in --session FILE; the rows of one session stand together, and a
session that comes back is refused. One apostrophe at the beginning of a cell is taken off: it keeps 1+, -5
and 12.50 as they are in a spreadsheet, and fascicle writes it before every cell that is neither a plain word
nor a whole number.

Exit codes: 0 done; 1 a document does not hold; 3 cautions wait for confirmation.";

pub(super) const CHECK: &str = "\
Examples:
  fascicle check session.json                  problems with place, reason and what to do
  fascicle check --json session.json           the same for a program
  fascicle check observation.json bundle.json  FHIR JSON from anywhere
  fascicle check --session session.json findings.csv   problems with row and column
  fascicle check --columns                     the columns a CSV file may have
  fascicle check --schema > session.schema.json

Exit codes: 0 nothing stands in the way; 1 an error; 3 cautions only, which a named person may
confirm in the document with the mark that is printed.";

pub(super) const SUMMARY: &str = "\
Examples:
  fascicle summary session.json                       of a document, before it is sent
  fascicle summary --earlier last-time.json session.json     with what changed since
  fascicle summary --earlier-from store --state ./state session.json
  fascicle summary --state ./state --of SESSION       of a session that is kept
  fascicle summary --state ./state --of SESSION --view handover
  fascicle summary --config fascicle.toml --of SESSION --view discharge --json

Exit codes: 0 done; 1 a document does not hold, or no such session is kept; 3 cautions wait for
confirmation.";

pub(super) const SEND: &str = "\
Examples:
  fascicle send --state ./state --to BASE --bearer-file token session.json
  fascicle send --config fascicle.toml monday/*.json
  fascicle send --config fascicle.toml monday.csv
  fascicle send --config fascicle.toml               work off what is queued
  fascicle send --config fascicle.toml --wait 0 session.json    accept only

Sending the same file again is safe: it is told as accepted before. A correction is the next version
of the session. With many files a bar shows how far it is, where standard error is a terminal.
Exit codes: 0 all delivered; 1 a document does not hold; 3 cautions wait for confirmation;
4 kept, not delivered yet; 5 kept, a person has to decide: see `fascicle queue`.";

pub(super) const SERVE: &str = "\
Examples:
  (umask 077; openssl rand -hex 32 > api.tokens)     a token that only you can read
  fascicle serve --sample > fascicle.toml            a commented configuration to fill in
  fascicle serve --config fascicle.toml
  fascicle serve --state ./state --to BASE --bearer-file token --token-file api.tokens

Then, from anywhere on this machine:
  curl -H \"Authorization: Bearer $(head -1 api.tokens)\" -H 'Content-Type: application/json' \\
       --data-binary @session.json http://127.0.0.1:8117/v1/sessions
  curl -H \"Authorization: Bearer $(head -1 api.tokens)\" http://127.0.0.1:8117/v1/queue
  curl http://127.0.0.1:8117/v1/health/ready
  curl http://127.0.0.1:8117/v1/openapi.json         everything else that can be asked

To change the token without a restart, put the new one on a line above the old one, move the clients
over, then remove the old line. A file that others can read is refused.
The first line of standard output is BASE= and the address, once the service takes requests.
Exit codes: 0 stopped when asked; 1 the settings cannot be used; 70 a fault.";

pub(super) const QUEUE: &str = "\
Examples:
  fascicle queue --state ./state                     what waits, and why
  fascicle queue --config fascicle.toml --only waiting
  fascicle queue --state ./state --all --json        everything, for a program
  fascicle queue --state ./state --release ITEM --by 'A. Ward' --why 'name checked at the bedside'
  fascicle queue --state ./state --drop ITEM --by 'A. Ward' --why 'entered for the wrong person'
  fascicle queue --state ./state --pause ward --by 'IT' --why 'upgrade of the record server'
  fascicle queue --state ./state --resume ward --by 'IT' --why 'upgrade done'

Exit codes: 0 done; 1 nothing was changed, because it is done, being sent, or not known.";

pub(super) const TARGET: &str = "\
Examples:
  fascicle target --to BASE --bearer-file token
  fascicle target --config fascicle.toml --json

Exit codes: 0 all of it will work; 1 a line says no; 4 the record server does not answer.";

pub(super) const PUBLIC_KEYS: &str = "\
Examples:
  openssl genpkey -algorithm EC -pkeyopt ec_paramgen_curve:P-384 -out region.key
  fascicle public-keys region.key                          before the client is registered
  fascicle public-keys --config fascicle.toml > jwks.json
  fascicle public-keys --config fascicle.toml next.key     with the key that comes next

Exit codes: 0 all keys are shown; 1 none is, and why.";

pub(super) const STORE: &str = "\
Examples:
  fascicle store --state ./state                           its tables, rows and hashes
  fascicle store --state ./state --backup copy.sqlite
  fascicle store --state ./state --move-to postgres://fascicle@database.clinic.example/fascicle
  fascicle store --config fascicle.toml --purge-due --dry-run
  fascicle store --state ./state --purge SESSION --by 'A. Name' --why 'asked for in writing'

Copies that were made before a purge still hold what was purged: their time of keeping is to be the same.
To restore a copy, stop what uses the folder and put the copy in the place of its fascicle.sqlite.
A database is copied with its own tools, pg_dump and pg_restore.

Exit codes: 0 done; 1 nothing was done, and why; 70 a fault.";

pub(super) const TRAIL: &str = "\
Examples:
  fascicle trail --state ./state --session ID        what happened to one session
  fascicle trail --state ./state --target ward --event refused
  fascicle trail --state ./state --verify            note the last hash somewhere else
  fascicle trail --state ./state --verify --expect HASH
  fascicle trail --state ./state --words Observation/123
  fascicle trail --state ./state --export trail.ndjson

A row's hash is SHA-256 over the hash before and the row in canonical JSON.
Exit codes: 0 done; 1 the trail does not hold, or nothing stands behind that Observation.";

pub(super) const CATALOGUE: &str = "\
Examples:
  fascicle catalogue list
  fascicle catalogue check our-tables/
  fascicle catalogue confirm --loinc LoincTableCore.csv --out our-tables/
  fascicle catalogue pack --out fascicle.tgz";

pub(super) const CATALOGUE_LIST: &str = "\
Examples:
  fascicle catalogue list --kind range
  fascicle catalogue list --json

Exit codes: 0 done; 1 there is no such kind.";

pub(super) const CATALOGUE_WORKSHEET: &str = "\
Example:
  fascicle catalogue worksheet --out worksheet --tables /etc/fascicle/tables

Exit codes: 0 written; 1 a table has a fault, or the folder cannot be written; 70 a fault of the
program.";
pub(super) const CATALOGUE_CHECK: &str = "\
Example:
  fascicle catalogue check our-tables/

Exit codes: 0 the tables hold; 1 they have faults.";

pub(super) const CATALOGUE_CONFIRM: &str = "\
Examples:
  fascicle catalogue confirm --loinc LoincTableCore.csv
  fascicle catalogue confirm --loinc LoincTableCore.csv --out our-tables/
  fascicle catalogue confirm --snomed sct2_Description_Snapshot-en_INT.txt \\
                             --snomed-concepts sct2_Concept_Snapshot_INT.txt --json

Exit codes: 0 every row agrees; 1 a row differs, is retired or absent, or a file is no release.";

pub(super) const CATALOGUE_PACK: &str = "\
Example:
  fascicle catalogue pack --out fascicle.tgz --tables /etc/fascicle/tables

Exit codes: 0 written; 1 a table has a fault, or the file cannot be written.";

pub(super) const PRACTICE: &str = "\
Examples:
  fascicle practice                                  in memory, on a free port
  fascicle practice --file practice.sqlite --port 8080

The first line of standard output is BASE= and the address.
Exit codes: 0 stopped when asked; 70 a fault.";
