//! What stands in each help text around the options: the most usual call first, then examples and
//! what the exit code says. No line is wider than 80 columns.

pub(super) const FIRST: &str = "Begin with:  fascicle demo";
pub(super) const FIRST_DEMO: &str = "Most often:  fascicle demo --exit";
pub(super) const FIRST_ENCODE: &str = "Most often:  fascicle encode session.json --out bundle.json";
pub(super) const FIRST_CHECK: &str = "Most often:  fascicle check session.json";
pub(super) const FIRST_SUMMARY: &str = "Most often:  fascicle summary session.json";
pub(super) const FIRST_SEND: &str =
    "Most often:  fascicle send --config fascicle.toml session.json";
pub(super) const FIRST_SERVE: &str = "Most often:  fascicle serve --config fascicle.toml";
pub(super) const FIRST_QUEUE: &str = "Most often:  fascicle queue --config fascicle.toml";
pub(super) const FIRST_TARGET: &str = "Most often:  fascicle target --config fascicle.toml";
pub(super) const FIRST_PUBLIC_KEYS: &str =
    "Most often:  fascicle public-keys --config fascicle.toml";
pub(super) const FIRST_STORE: &str =
    "Most often:  fascicle store --config fascicle.toml --backup copy.sqlite";
pub(super) const FIRST_TRAIL: &str =
    "Most often:  fascicle trail --config fascicle.toml --session SESSION";
pub(super) const FIRST_CATALOGUE: &str = "Most often:  fascicle catalogue list";
pub(super) const FIRST_CATALOGUE_LIST: &str = "Most often:  fascicle catalogue list --kind range";
pub(super) const FIRST_CATALOGUE_CHECK: &str = "Most often:  fascicle catalogue check our-tables/";
pub(super) const FIRST_CATALOGUE_WORKSHEET: &str =
    "Most often:  fascicle catalogue worksheet --out worksheet";
pub(super) const FIRST_CATALOGUE_CONFIRM: &str =
    "Most often:  fascicle catalogue confirm --loinc LoincTableCore.csv";
pub(super) const FIRST_CATALOGUE_PACK: &str =
    "Most often:  fascicle catalogue pack --out fascicle.tgz";
pub(super) const FIRST_PRACTICE: &str = "Most often:  fascicle practice --with-people --port 8118";
pub(super) const FIRST_COMPLETIONS: &str = "Most often:  source <(fascicle completions bash)";
pub(super) const FIRST_MANUAL: &str = "Most often:  fascicle manual --out man";

pub(super) const COMPLETIONS: &str = "\
Examples:
  source <(fascicle completions bash)        for this shell
  fascicle completions bash > /etc/bash_completion.d/fascicle
  fascicle completions fish > ~/.config/fish/completions/fascicle.fish

Exit codes: 0 printed; 2 there is no such shell.";

pub(super) const MANUAL: &str = "\
Examples:
  fascicle manual --out man
  man man/fascicle-send.1

Exit codes: 0 written; 1 the folder cannot be written.";

pub(super) const WHOLE: &str = "\
Begin with:
  fascicle demo                       all of it on this machine, invented people
  fascicle target --to BASE           will it work with our record server?
  fascicle check session.json         does this session document hold?
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

BASE is the address of a FHIR R4 service, such as
https://record.hospital.example/fhir.
Colour is used in help only, and not where NO_COLOR is set.";

pub(super) const DEMO: &str = "\
Examples:
  fascicle demo --exit     show it and end
  fascicle demo            show it, and keep the practice server open for a look

Nothing leaves this machine, and nothing is kept.
Exit codes: 0 done; 70 a fault.";

pub(super) const ENCODE: &str = "\
Examples:
  fascicle encode session.json                     to standard output
  fascicle encode session.json --out bundle.json   to a file only you can read
  fascicle encode --ndjson first.json second.json  several, one Bundle a line
  fascicle encode --report session.json            its summary as a report, too
  fascicle encode session.json --plots plots       and a picture of each trace
  fascicle encode --notation sftr session.json     S 0-20-150
  fascicle encode --csv session.json --out session.csv   for a spreadsheet
  fascicle encode --session beside.json findings.csv     and back from one
  fascicle encode --ndjson month.csv --out month.ndjson  many sessions

  fascicle encode --compare first.json second.json       what was compared
  fascicle encode --earlier first.json second.json       the second only
  fascicle encode --compare --reference-table vairo-2012 session.json
  fascicle encode --compare --earlier-from store --state ./state session.json
  fascicle encode --compare --earlier-from target --to BASE session.json

session.json is a session document; beside.json is one without findings, the
session that all rows of findings.csv belong to.

CSV is RFC 4180 in UTF-8: commas, a header, one finding a row. A column is a
field of the session document by its path, items of a list counted from 1: side,
value.lacks, precautions.1.site, session.id; fascicle check --columns lists them
all. An empty cell leaves the field out. What holds for the session is repeated
in each of its rows, or stands in --session FILE; the rows of one session stand
together, and a session that comes back is refused. One apostrophe at the
beginning of a cell is taken off: it keeps 1+, -5 and 12.50 as they are in a
spreadsheet, and fascicle writes it before every cell that is neither a plain
word nor a whole number.

Exit codes: 0 done; 1 a document does not hold; 3 cautions wait for
confirmation.";

pub(super) const CHECK: &str = "\
Examples:
  fascicle check session.json                  each problem and what to do
  fascicle check --json session.json           the same for a program
  fascicle check observation.json bundle.json  FHIR JSON from anywhere
  fascicle check -                             a document on standard input
  fascicle check --session beside.json findings.csv   by row and column
  fascicle check --columns                     the columns a CSV file may have
  fascicle check --schema > session.schema.json

A file that cannot be read is told, and the others are still checked.
Exit codes: 0 nothing stands in the way; 1 an error; 3 cautions only, which a
named person may confirm in the document with the mark that is printed.";

pub(super) const SUMMARY: &str = "\
Examples:
  fascicle summary session.json                      before it is sent
  fascicle summary --earlier first.json second.json      what changed since, too
  fascicle summary --earlier-from store --state ./state session.json
  fascicle summary --state ./state --of SESSION       of a session that is kept
  fascicle summary --state ./state --of SESSION --view handover
  fascicle summary --config fascicle.toml --of SESSION --view discharge --json

Exit codes: 0 done; 1 a document does not hold, or no such session is kept;
3 cautions wait for confirmation.";

pub(super) const SEND: &str = "\
Examples:
  fascicle send --state ./state --to BASE --bearer-file token session.json
  fascicle send --config fascicle.toml monday/*.json
  fascicle send --config fascicle.toml monday.csv
  fascicle send --config fascicle.toml               work off what is queued
  fascicle send --config fascicle.toml --wait 0 session.json   accept only

Sending the same file again is safe: it is told as accepted before. A correction
is the next version of the session. With many files a bar shows how far it is,
where standard error is a terminal.
Exit codes: 0 all delivered; 1 a document does not hold; 3 cautions wait for
confirmation; 4 kept, not delivered yet; 5 kept, a person has to decide: see
`fascicle queue`.";

pub(super) const SERVE: &str = "\
Examples:
  (umask 077; openssl rand -hex 32 > api.tokens)   a token only you can read
  fascicle serve --sample > fascicle.toml          a configuration to fill in
  fascicle serve --config fascicle.toml
  fascicle serve --state ./state --to BASE --bearer-file token \\
                 --token-file api.tokens

Then, from anywhere on this machine:
  curl -H \"Authorization: Bearer $(head -1 api.tokens)\" \\
       -H 'Content-Type: application/json' --data-binary @session.json \\
       http://127.0.0.1:8117/v1/sessions
  curl -H \"Authorization: Bearer $(head -1 api.tokens)\" \\
       http://127.0.0.1:8117/v1/queue
  curl http://127.0.0.1:8117/v1/health/ready
  curl http://127.0.0.1:8117/v1/openapi.json       everything else

To change the token without a restart, put the new one on a line above the old
one, move the clients over, then remove the old line. A file that others can
read is refused. The first line of standard output is BASE= and the address,
once the service takes requests.
Exit codes: 0 stopped when asked; 1 the settings cannot be used; 70 a fault.";

pub(super) const QUEUE: &str = "\
Examples:
  fascicle queue --state ./state                 what waits, and why
  fascicle queue --config fascicle.toml --only waiting
  fascicle queue --state ./state --all --json    everything, for a program
  fascicle queue --state ./state --release ITEM --by 'A. Ward' \\
                 --why 'name checked at the bedside'
  fascicle queue --state ./state --drop ITEM --by 'A. Ward' \\
                 --why 'entered for the wrong person'
  fascicle queue --config fascicle.toml --pause ward --by 'IT' \\
                 --why 'upgrade of the record server'
  fascicle queue --config fascicle.toml --resume ward --by 'IT' \\
                 --why 'upgrade done'

Exit codes: 0 done; 1 nothing was changed, because it is done, being sent, or
not known.";

pub(super) const TARGET: &str = "\
Examples:
  fascicle target --to BASE --bearer-file token
  fascicle target --config fascicle.toml --json

Exit codes: 0 all of it will work; 1 a line says no; 4 the record server does
not answer.";

pub(super) const PUBLIC_KEYS: &str = "\
Examples:
  openssl genpkey -algorithm EC -pkeyopt ec_paramgen_curve:P-384 \\
                  -out region.key
  fascicle public-keys region.key              before the client is registered
  fascicle public-keys --config fascicle.toml > jwks.json
  fascicle public-keys --config fascicle.toml next.key   with the next key

Exit codes: 0 all keys are shown; 1 none is, and why.";

pub(super) const STORE: &str = "\
Examples:
  fascicle store --state ./state               its tables, rows and hashes
  fascicle store --state ./state --backup copy.sqlite
  fascicle store --state ./state \\
                 --move-to postgres://fascicle@database.clinic.example/fascicle
  fascicle store --config fascicle.toml --purge-due --dry-run
  fascicle store --state ./state --purge SESSION --by 'A. Name' \\
                 --why 'asked for in writing'

Copies that were made before a purge still hold what was purged: their time of
keeping is to be the same. To restore a copy, stop what uses the folder and put
the copy in the place of its fascicle.sqlite. A database is copied with its own
tools, pg_dump and pg_restore.

Exit codes: 0 done; 1 nothing was done, and why; 70 a fault.";

pub(super) const TRAIL: &str = "\
Examples:
  fascicle trail --state ./state --session ID    what happened to a session
  fascicle trail --state ./state --target ward --event refused
  fascicle trail --state ./state --verify        note the last hash elsewhere
  fascicle trail --state ./state --verify --expect HASH
  fascicle trail --state ./state --words Observation/123
  fascicle trail --state ./state --export trail.ndjson

A row's hash is SHA-256 over the hash before and the row in canonical JSON.
Exit codes: 0 done; 1 the trail does not hold, or nothing stands behind that
Observation.";

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

Exit codes: 0 written; 1 a table has a fault, or the folder cannot be written;
70 a fault of the program.";
pub(super) const CATALOGUE_CHECK: &str = "\
Example:
  fascicle catalogue check our-tables/

Exit codes: 0 the tables hold; 1 they have faults.";

pub(super) const CATALOGUE_CONFIRM: &str = "\
Examples:
  fascicle catalogue confirm --loinc LoincTableCore.csv
  fascicle catalogue confirm --loinc LoincTableCore.csv --out our-tables/
  fascicle catalogue confirm --json \\
                     --snomed sct2_Description_Snapshot-en_INT.txt \\
                     --snomed-concepts sct2_Concept_Snapshot_INT.txt

Exit codes: 0 every row agrees; 1 a row differs, is retired or absent, or a file
is no release.";

pub(super) const CATALOGUE_PACK: &str = "\
Example:
  fascicle catalogue pack --out fascicle.tgz --tables /etc/fascicle/tables

Exit codes: 0 written; 1 a table has a fault, or the file cannot be written.";

pub(super) const PRACTICE: &str = "\
Examples:
  fascicle practice                        in memory, empty, on a free port
  fascicle practice --with-people          with the invented people of the demo
  fascicle practice --file practice.sqlite --port 8118

It knows nobody at first, and a session of a person it does not know waits: take
--with-people, or create a Patient with any FHIR client.
The first line of standard output is BASE= and the address.
Exit codes: 0 stopped when asked; 70 a fault.";
