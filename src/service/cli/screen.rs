//! Standard output for people: no line is wider than the terminal.
#![expect(
    clippy::disallowed_methods,
    reason = "COLUMNS says the width of a terminal, as help texts take it"
)]

use std::io::{self, IsTerminal as _, Write};
use std::sync::LazyLock;
use textwrap::{Options, WordSeparator, WordSplitter};

/// The width of a page where no terminal shows it.
const PAGE: usize = 80;

/// The width that `COLUMNS` or the terminal tells, if either does.
static TOLD: LazyLock<Option<usize>> = LazyLock::new(|| {
    let named = std::env::var("COLUMNS").ok();
    let named = named.and_then(|columns| columns.parse().ok());
    let shown = || io::stdout().is_terminal().then(textwrap::termwidth);
    named.or_else(shown).filter(|width| *width > 0)
});

/// The width that tables and pages of text keep to.
pub(super) fn page() -> usize {
    TOLD.unwrap_or(PAGE)
}

/// Standard output for words: whole lines where nobody's terminal has to hold them.
pub(super) fn screen() -> Screen<io::Stdout> {
    Screen {
        out: io::stdout(),
        width: *TOLD,
        held: Vec::new(),
    }
}

/// Standard output for words, or for JSON, which leaves as it is.
pub(super) fn words_or_json(json: bool) -> Screen<io::Stdout> {
    let mut screen = screen();
    screen.width = screen.width.filter(|_| !json);
    screen
}

/// Lines for standard error, as wide as they may be.
pub(super) fn for_stderr(words: &str) -> String {
    let Some(width) = *TOLD else {
        return words.to_owned();
    };
    let lines = words.lines().map(|line| fitted(line, width));
    lines.collect::<Vec<_>>().join("\n")
}

/// Breaks lines that are wider than the terminal, between words only: an address or a hash that is
/// too long stays in one piece, because people copy it.
#[derive(Debug)]
pub(super) struct Screen<Out: Write> {
    out: Out,
    width: Option<usize>,
    held: Vec<u8>,
}

impl<Out: Write> Write for Screen<Out> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let Some(width) = self.width else {
            return self.out.write(bytes);
        };
        self.held.extend_from_slice(bytes);
        let Some(end) = self.held.iter().rposition(|byte| *byte == b'\n') else {
            return Ok(bytes.len());
        };
        let rest = self.held.split_off(end.saturating_add(1));
        let whole = std::mem::replace(&mut self.held, rest);
        for line in whole.split_inclusive(|byte| *byte == b'\n') {
            let line = String::from_utf8_lossy(line);
            writeln!(self.out, "{}", fitted(line.trim_end_matches('\n'), width))?;
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.write_all(&std::mem::take(&mut self.held))?;
        self.out.flush()
    }
}

impl<Out: Write> Drop for Screen<Out> {
    fn drop(&mut self) {
        // Nothing is left to be told when standard output is gone.
        drop(self.flush());
    }
}

/// A line as lines that fit: what follows the first stands further in.
pub(super) fn fitted(line: &str, width: usize) -> String {
    if textwrap::core::display_width(line) <= width {
        return line.to_owned();
    }
    let words = line.trim_start_matches(' ');
    let before = line.len().saturating_sub(words.len());
    let first = " ".repeat(before);
    let further = " ".repeat(before.saturating_add(2).min(width / 2));
    lines(words, &first, &further, width).join("\n")
}

/// Writes words as lines that fit the page: `first` before the first, blanks of that width before
/// the others.
pub(super) fn wrapped(out: &mut dyn Write, first: &str, words: &str) -> io::Result<()> {
    let width = page();
    let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
    let indent = textwrap::core::display_width(first);
    if words.is_empty() {
        return writeln!(out, "{}", first.trim_end());
    }
    let further = if indent > width / 2 {
        writeln!(out, "{}", first.trim_end())?;
        " ".repeat(8.min(width / 4))
    } else {
        " ".repeat(indent)
    };
    let first = if indent > width / 2 { &further } else { first };
    for line in lines(&words, first, &further, width) {
        writeln!(out, "{}", line.trim_end())?;
    }
    Ok(())
}

fn lines(words: &str, first: &str, further: &str, width: usize) -> Vec<String> {
    let options = Options::new(width)
        .initial_indent(first)
        .subsequent_indent(further)
        .break_words(false)
        .word_separator(WordSeparator::AsciiSpace)
        .word_splitter(WordSplitter::NoHyphenation);
    let lines = textwrap::wrap(words, options);
    lines
        .into_iter()
        .map(std::borrow::Cow::into_owned)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::{Screen, fitted};
    use std::io::Write as _;

    fn on_screen(width: Option<usize>, pieces: &[&str]) -> String {
        let mut screen = Screen {
            out: Vec::new(),
            width,
            held: Vec::new(),
        };
        for piece in pieces {
            screen.write_all(piece.as_bytes()).expect("written");
        }
        screen.flush().expect("written");
        String::from_utf8(std::mem::take(&mut screen.out)).expect("text")
    }

    #[test]
    fn a_line_wider_than_the_terminal_goes_on_further_in() {
        let told = on_screen(
            Some(20),
            &["  one two three", " four five six\nseven\n", "eight"],
        );

        assert_eq!(told, "  one two three four\n    five six\nseven\neight");
    }

    #[test]
    fn without_a_terminal_a_line_stays_whole() {
        let long = "word ".repeat(40) + "\n";

        assert_eq!(on_screen(None, &[&long]), long);
    }

    #[test]
    fn what_people_copy_stays_in_one_piece() {
        let hash = "0123456789abcdef".repeat(4);

        assert_eq!(
            fitted(&format!("  last hash: {hash}"), 40),
            format!("  last hash:\n    {hash}")
        );
    }
}
