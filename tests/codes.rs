#![cfg(test)]
#![expect(clippy::disallowed_methods, reason = "tests read files")]
//! The codes of the interface: their list only grows, and their page is written from their table.

use fascicle::base::code::Code;
use fascicle::base::code::meaning::{Answer, Retry, Severity, Sign};
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

/// Every word that was ever given out, one a line.
const GIVEN_OUT: &str = "fixtures/codes.txt";

const PAGE: &str = "docs/codes.md";

fn read(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
    fs::read_to_string(&path).unwrap_or_else(|cause| panic!("{name}: {cause}"))
}

fn write(name: &str, text: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
    fs::write(path, text).expect("written");
}

fn updates() -> bool {
    std::env::var_os("UPDATE_EXPECT").is_some_and(|value| value == "1")
}

/// Removing or renaming a code breaks whoever acts on it. `UPDATE_EXPECT=1` adds what is new and takes
/// nothing away: a word that is gone stays in the list, and fails.
#[test]
fn the_list_of_codes_only_grows() {
    let words: BTreeSet<&str> = Code::ALL.iter().map(|code| code.word()).collect();
    if updates() {
        let before = read(GIVEN_OUT);
        let both: BTreeSet<&str> = before.lines().chain(words.iter().copied()).collect();
        let lines: Vec<&str> = both.into_iter().collect();
        write(GIVEN_OUT, &(lines.join("\n") + "\n"));
    }

    let given_out = read(GIVEN_OUT);
    let given_out: BTreeSet<&str> = given_out.lines().collect();
    let gone: Vec<_> = given_out.difference(&words).collect();
    let not_listed: Vec<_> = words.difference(&given_out).collect();

    assert!(given_out.len() > 300);
    assert!(gone.is_empty(), "given out once, and gone: {gone:?}");
    assert!(
        not_listed.is_empty(),
        "not listed: {not_listed:?}; UPDATE_EXPECT=1 cargo test --test codes"
    );
}

/// What a code weighs, what a client is answered and what is done next belong together.
#[test]
fn the_meanings_of_every_code_agree() {
    for code in Code::ALL {
        let meaning = code.meaning();
        let agrees = match (meaning.severity, meaning.answer) {
            (Some(Severity::Error), answer) => {
                answer <= Answer::DoesNotHold
                    && matches!(
                        meaning.retry,
                        Retry::Mended | Retry::Reported | Retry::Again
                    )
                    && (meaning.retry == Retry::Again) == (answer == Answer::Contended)
            }
            (Some(Severity::Caution), answer) => {
                answer == Answer::WaitsForConfirmation && meaning.retry == Retry::Confirmed
            }
            (Some(Severity::Note) | None, Answer::Told) => meaning.retry == Retry::Nothing,
            (None, Answer::OfDelivery) => matches!(
                meaning.retry,
                Retry::ByItself | Retry::LetPass | Retry::Released | Retry::Version
            ),
            (Some(Severity::Note) | None, _) => false,
        };
        // A target that fails is tried again by itself; a person cannot mend it by a release.
        let sign = meaning.sign != Sign::Fails || meaning.retry == Retry::ByItself;
        let asked = code.is_of_a_delivery() || meaning.sign == Sign::Nothing;

        assert!(agrees && sign && asked, "{code}: {meaning:?}");
        assert!(!code.says().ends_with('.'), "{code}: {}", code.says());
    }
}

#[test]
fn the_page_of_codes_is_the_table() {
    let mut page = String::from(
        "# Codes\n\n\
         Every problem of a document and every reason of a delivery has a code.\n\
         A code is part of the interface: it is the same on the command line and over HTTP, and it is never \
         renamed or taken away.\n\n\
         This page is written from `src/base/code` by `UPDATE_EXPECT=1 cargo test --test codes`.\n",
    );
    problems(&mut page);
    prompts(&mut page);
    deliveries(&mut page);
    if updates() {
        write(PAGE, &page);
    }

    assert!(
        read(PAGE) == page,
        "stale: UPDATE_EXPECT=1 cargo test --test codes"
    );
}

fn problems(page: &mut String) {
    page.push_str(
        "\n## Problems\n\n\
         An error stands in the way; a caution waits for a named person who confirms it, and is a note then; \
         a note is told and holds nothing up.\n\
         Of several problems the service answers with the status that stands first here: 400, 503, 409, 422, 428.\n\n\
         | code | is | means | over HTTP | what to do |\n|---|---|---|---|---|\n",
    );
    for code in Code::ALL {
        let meaning = code.meaning();
        let Some(severity) = meaning.severity else {
            continue;
        };
        let (severity, answer) = (severity.word(), meaning.answer.words());
        let (says, next) = (code.says(), meaning.retry.words());
        writeln!(
            page,
            "| `{code}` | {severity} | {says} | {answer} | {next} |"
        )
        .expect("a string takes it");
    }
}

fn prompts(page: &mut String) {
    page.push_str(
        "\n## Prompts to look\n\n\
         A prompt is told under `prompt.raised`, or among what is urgent, and holds nothing up; \
         `profiles/cautions.csv` words it.\n\n\
         | code | means |\n|---|---|\n",
    );
    for code in Code::ALL.iter().filter(|code| code.is_a_prompt()) {
        writeln!(page, "| `{code}` | {} |", code.says()).expect("a string takes it");
    }
}

fn deliveries(page: &mut String) {
    page.push_str(
        "\n## Reasons of deliveries\n\n\
         A delivery that is not done says why; a document was answered long before.\n\
         Behind `unknown.too-often` stands the last reason in brackets, and the target is judged by that one.\n\n\
         | code | means | says of the target | what happens next |\n|---|---|---|---|\n",
    );
    for code in Code::ALL.iter().filter(|code| code.is_of_a_delivery()) {
        let status = if code.has_status() { "-STATUS" } else { "" };
        let meaning = code.meaning();
        let (sign, next) = (meaning.sign.words(), meaning.retry.words());
        writeln!(
            page,
            "| `{code}{status}` | {} | {sign} | {next} |",
            code.says()
        )
        .expect("a string takes it");
    }
}
