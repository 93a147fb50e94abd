#![cfg(test)]
//! What Observations hold against what a summary says: read from FHIR alone on one side, and from the
//! printed lines alone on the other. Nothing here is shared with the code that writes a summary.

use fascicle::base::json::Node;
use fascicle::tables::catalogue::Catalogue;
use std::collections::BTreeMap;
use std::sync::LazyLock;

const CODES: &str = "https://fascicle.example/fhir/CodeSystem/";

fn catalogue() -> &'static Catalogue {
    static EMBEDDED: LazyLock<Catalogue> = LazyLock::new(|| Catalogue::embedded().expect("sound"));
    &EMBEDDED
}

/// Prompts that travel on an Observation and are not among those that are said.
fn unsaid(one: &Node, prompts: &str) -> Vec<String> {
    let notes = one.items_of("note").iter();
    let raised = notes.filter_map(|note| note.text_of("text")?.strip_prefix("prompt to look: "));
    // What comes before every prompt stands in each resource by itself, and once in a summary.
    let unsaid = raised.filter(|told| {
        let (own, first) = told.rsplit_once("; ").expect("what comes first");
        !(prompts.contains(&one_line(own)) && prompts.contains(first))
    });
    unsaid
        .map(|told| format!("the prompt {told} is not said"))
        .collect()
}

const BECAUSE: &str = "; because of the prompt: ";

/// Lines of what was passed on without the prompt that each answers, whose words have to stand in an
/// Observation or, where its session is an earlier one, in the tables.
fn without_prompts(lines: &[&str], standing: &[&Node], faults: &mut Vec<String>) -> Vec<String> {
    let notes = standing.iter().flat_map(|one| one.items_of("note"));
    let mut texts: Vec<String> = notes
        .filter_map(|note| note.text_of("text").map(one_line))
        .collect();
    let rows = catalogue().cautions.values();
    texts.extend(rows.map(|row| row.wording.clone()));
    let mut left = Vec::new();
    for line in lines {
        let Some((line, prompt)) = line.rsplit_once(BECAUSE) else {
            left.push((*line).to_owned());
            continue;
        };
        let prompt = prompt.trim_end_matches('.');
        let named = prompt.starts_with("a caution named ");
        // The finding it is about may stand before its words.
        let pieces: Vec<&str> = prompt.split(": ").collect();
        let mut words = (0..pieces.len()).map(|from| pieces[from..].join(": "));
        let held = words.any(|words| texts.iter().any(|text| text.contains(&words)));
        if !(held || named) {
            faults.push(format!("nobody raised: {prompt}"));
        }
        left.push(format!("{line}."));
    }
    left
}

/// Everything in which Observations and summary differ.
pub(crate) fn disagreements(observations: &[&Node], summary: &str) -> Vec<String> {
    let standing: Vec<&Node> = observations
        .iter()
        .copied()
        .filter(|one| one.text_of("status") != Some("entered-in-error"))
        .collect();
    let sections = sections(summary);
    let mut faults = Vec::new();
    if sections.first().map(|section| section.title) != Some("Precautions") {
        faults.push("precautions do not come first".to_owned());
    }
    let of = |wanted: &dyn Fn(&str) -> bool| -> Vec<&Node> {
        let all = standing.iter().copied();
        all.filter(|one| wanted(&measure(one))).collect()
    };
    let body = of(&|key| {
        let others = ["session.", "statement.", "comparison."];
        key != "precaution" && !others.iter().any(|other| key.starts_with(other))
    });
    let (left_out, found): (Vec<&Node>, Vec<&Node>) =
        body.into_iter().partition(|one| not_tested(one));
    let lines = |wanted: &dyn Fn(&str) -> bool| -> Vec<&str> {
        let wanted = sections.iter().filter(|section| wanted(section.title));
        wanted.flat_map(|section| section.lines.clone()).collect()
    };
    let titled = |title: &str| lines(&|other| other == title);
    let panels = of(&|key| key == "session.examination");
    let examined = lines(&|title| title.starts_with("Findings"));
    let left = titled("Not tested, and why");
    let (examined, left) = (
        without_examiners(&found, &examined, &panels, &mut faults),
        without_examiners(&left_out, &left, &panels, &mut faults),
    );
    findings(&found, &borrowed(&examined), &mut faults);
    findings(&left_out, &borrowed(&left), &mut faults);
    whole(
        &of(&|key| key == "precaution"),
        &titled("Precautions"),
        &mut faults,
    );
    comparisons(&standing, &titled, &mut faults);
    let own = without_prompts(&lines(&is_own), &standing, &mut faults);
    let own: Vec<&str> = own.iter().map(String::as_str).collect();
    whole(&of(&|key| key.starts_with("statement.")), &own, &mut faults);
    let mut prompts = titled("To reach the treating team at once");
    prompts.extend(titled("Prompts to look"));
    let prompts = prompts.join(" ");
    faults.extend(standing.iter().flat_map(|one| unsaid(one, &prompts)));
    faults.extend(for_machines(summary));
    faults.extend(head(&sections));
    let mut day = titled("The examination");
    day.extend(titled("The day of the examination"));
    for panel in of(&|key| key == "session.examination") {
        faults.extend(examiners(panel, &mut day));
        let together = day.join(" ");
        faults.extend(missing(panel, &together));
        faults.extend(numbers_left(&[panel], &together));
        faults.extend(title(panel, summary.lines().next().unwrap_or_default()));
    }
    faults
}

/// Who examined, which side is the more affected and consent stand at the head, where only precautions
/// and what is urgent go before.
fn head(sections: &[Section<'_>]) -> Option<String> {
    let mut titles = sections.iter().map(|section| section.title);
    let urgent = |title: &&str| *title == "To reach the treating team at once";
    let mut after = titles.by_ref().skip(1).filter(|title| !urgent(title));
    (after.next() != Some("The examination")).then(|| "the head is somewhere else".to_owned())
}

/// Everybody whom the Observation names as performer is said to have examined; the line is taken out.
fn examiners(panel: &Node, lines: &mut Vec<&str>) -> Vec<String> {
    let beginning = "Examined by: ";
    let said = lines.iter().find(|line| line.starts_with(beginning));
    let said = said.copied().unwrap_or_default();
    lines.retain(|line| !line.starts_with(beginning));
    let performers = panel.items_of("performer").iter();
    let named = performers.filter_map(|one| one.at(&["identifier", "value"])?.text());
    let silent = named.filter(|name| !said.contains(name));
    silent
        .map(|name| format!("{name} is not said to have examined"))
        .collect()
}

fn borrowed(lines: &[String]) -> Vec<&str> {
    lines.iter().map(String::as_str).collect()
}

const BY: &str = "; examined by: ";

/// Lines without who examined, which is said where the Observation names one of several examiners, and
/// nowhere else; whoever it names is the one who is said.
fn without_examiners(
    observations: &[&Node],
    lines: &[&str],
    panels: &[&Node],
    faults: &mut Vec<String>,
) -> Vec<String> {
    let several = panels
        .iter()
        .any(|panel| panel.items_of("performer").len() > 1);
    let mut by_one: Vec<String> = observations
        .iter()
        .filter(|one| several && one.items_of("performer").len() == 1)
        .map(|one| {
            let performer = &one.items_of("performer")[0];
            let named = performer.at(&["identifier", "value"]).and_then(Node::text);
            format!("{} by {}", name(one), named.expect("a performer"))
        })
        .collect();
    let mut left = Vec::new();
    for line in lines {
        let Some((before, by)) = line.split_once(BY) else {
            left.push((*line).to_owned());
            continue;
        };
        let (by, after) = match by.find("; note: ") {
            Some(note) => by.split_at(note),
            None => by.strip_suffix('.').map_or((by, ""), |by| (by, ".")),
        };
        let (name, _) = name_of_line(line);
        let said = by_one.iter().position(|one| {
            let named = one.strip_prefix(&format!("{name} by "));
            named.is_some_and(|named| by.ends_with(named))
        });
        match said {
            Some(at) => drop(by_one.remove(at)),
            None => faults.push(format!("nobody is named as examiner: {line}")),
        }
        left.push(format!("{before}{after}"));
    }
    faults.extend(by_one.iter().map(|one| format!("it is not said: {one}")));
    left
}

/// True for the heading of what people said in their own words.
fn is_own(title: &str) -> bool {
    let own = [
        "Conclusion of",
        "What matters",
        "Goals",
        "Handling",
        "Recommendations",
        "Passed on",
    ];
    own.iter().any(|beginning| title.starts_with(beginning))
}

/// Names of files, rules and the like, which stand in the record and say nothing to a reader.
fn for_machines(summary: &str) -> Vec<String> {
    let named = [".csv", "/1:", "SHA-256", "samples"];
    let named = named.iter().filter(|name| summary.contains(*name));
    named
        .map(|name| format!("{name} is nothing for a reader"))
        .collect()
}

struct Section<'a> {
    title: &'a str,
    lines: Vec<&'a str>,
}

fn sections(summary: &str) -> Vec<Section<'_>> {
    let mut parts = summary.split("\n\n");
    let _title = parts.next();
    parts
        .map(|part| {
            let (title, lines) = part.split_once('\n').unwrap_or((part, ""));
            let lines = lines.lines();
            Section {
                title,
                lines: lines.map(|line| line.trim_start_matches("- ")).collect(),
            }
        })
        .collect()
}

/// Our own code of a list in a concept, with its display.
fn own<'a>(concept: Option<&'a Node>, list: &str) -> Option<(&'a str, &'a str)> {
    let system = format!("{CODES}{list}");
    let codings = concept?.items_of("coding").iter();
    let mut own = codings.filter(|coding| coding.text_of("system") == Some(&system));
    let own = own.next()?;
    Some((own.text_of("code")?, own.text_of("display")?))
}

fn measure(one: &Node) -> String {
    let own = own(one.member("code"), "measure");
    own.map_or_else(String::new, |(code, _)| code.to_owned())
}

/// Comparisons: those that a summary reads out, and how many there are of all.
fn comparisons<'a>(
    standing: &[&Node],
    titled: &dyn Fn(&str) -> Vec<&'a str>,
    faults: &mut Vec<String>,
) {
    let compared = |what: &[&str]| -> Vec<&Node> {
        let all = standing.iter().copied();
        let wanted = all.filter(|one| what.contains(&compared(one)) && is_read(one));
        wanted.collect()
    };
    let sides = titled("Beside the other side");
    let parts = [
        "side-difference",
        "fixed-part",
        "fixed-part-range",
        "dynamic-share",
    ];
    findings(&compared(&parts), &sides, faults);
    counted(standing, "side-difference", &sides, faults);
    let changed = titled("Changed by more than the error of measuring");
    findings(&compared(&["change"]), &changed, faults);
    counted(standing, "change", &changed, faults);
}

/// What kind of comparison it is, if it is one.
fn compared(one: &Node) -> &str {
    let code = own(one.member("code"), "comparison").map(|(code, _)| code);
    let kind = code.and_then(|code| code.split_once('.'));
    kind.map_or("", |(kind, _)| kind)
}

fn verdict(one: &Node) -> Option<&str> {
    let verdict = part(one, "comparison-verdict")?;
    own(verdict.member("valueCodeableConcept"), "verdict").map(|(code, _)| code)
}

/// A summary reads out parts of a stretch, and of differences those beyond the error or of several
/// steps of a scale.
fn is_read(one: &Node) -> bool {
    const BEYOND: [&str; 4] = [
        "higher",
        "lower",
        "several-steps-higher",
        "several-steps-lower",
    ];
    let difference = ["side-difference", "change"].contains(&compared(one));
    !difference || verdict(one).is_some_and(|verdict| BEYOND.contains(&verdict))
}

/// How many findings were compared, judged and beyond, as Observations hold them, is said.
fn counted(observations: &[&Node], kind: &str, lines: &[&str], faults: &mut Vec<String>) {
    let changes = observations
        .iter()
        .filter(|one| compared(one) == kind)
        .collect::<Vec<_>>();
    if changes.is_empty() {
        return;
    }
    let judged = changes
        .iter()
        .filter(|one| part(one, "comparison-row").is_some());
    let beyond = judged.clone().filter(|one| is_read(one)).count();
    let (all, judged) = (changes.len(), judged.count());
    let first = lines.first().copied().unwrap_or_default();
    let wanted = [
        format!("{all} finding"),
        format!("{judged} comparison"),
        format!("{beyond} difference"),
    ];
    let said = |words: &String| first.contains(words.as_str());
    let none = judged == 0 && first.contains("none is judged");
    if !(said(&wanted[0]) && (none || wanted.iter().all(said))) {
        faults.push(format!("{wanted:?} is not in: {first}"));
    }
}

fn not_tested(one: &Node) -> bool {
    own(one.member("dataAbsentReason"), "not-tested-reason").is_some()
}

fn part<'a>(one: &'a Node, name: &str) -> Option<&'a Node> {
    let mut parts = one.items_of("component").iter();
    parts.find(|part| own(part.member("code"), "component").is_some_and(|(code, _)| code == name))
}

/// Side, measure and what tells it from the same measure done otherwise, from FHIR.
fn name(one: &Node) -> String {
    let comparison = own(one.member("code"), "comparison");
    let (code, label) = comparison
        .map(|(code, display)| (code.split_once('.').expect("a measure").1, display))
        .or_else(|| own(one.member("code"), "measure"))
        .expect("a measure of ours");
    let (place, _) = own(one.member("bodySite"), "site").expect("a site of ours");
    let (side, _) = place.split_once('.').expect("a side");
    let mut name = match side {
        "middle" => label.to_owned(),
        side => format!("{side}: {label}"),
    };
    // The tables say who moves the limb; a name that does not has it beside it.
    let mode = catalogue().measures[code].mode.clone();
    if let Some(mode) = mode.filter(|mode| !label.split(' ').any(|word| word == mode)) {
        name.extend([", ", &mode]);
    }
    for part_name in ["neighbour-position", "condition", "repeat"] {
        let Some(part) = part(one, part_name) else {
            continue;
        };
        let words = part
            .at(&["valueCodeableConcept", "text"])
            .and_then(Node::text);
        let count = part.member("valueInteger").map(Node::compact);
        let count = count.map(|count| format!("repeat {count}"));
        let words = words.map(str::to_owned).or(count).expect("a value");
        name.extend([", ", &words]);
    }
    // Some parts may stand in the order of the resource; the names are compared as sets of words.
    sorted(&name)
}

fn sorted(name: &str) -> String {
    let mut parts: Vec<&str> = name.split(", ").collect();
    if let Some((_, rest)) = parts.split_first_mut() {
        rest.sort_unstable();
    }
    parts.join(", ").to_lowercase()
}

/// The name that a line begins with: side and measure, up to what was found.
fn name_of_line(line: &str) -> (String, &str) {
    let sided = ["Right", "Left"].iter().any(|side| {
        line.strip_prefix(side)
            .is_some_and(|rest| rest.starts_with(": ") || rest.starts_with(' '))
    });
    let mut parts = line.splitn(if sided { 3 } else { 2 }, ": ");
    let mut name = parts.next().unwrap_or_default().to_owned();
    if let Some(measure) = parts.next().filter(|_| sided) {
        name.extend([": ", measure]);
    }
    let found = if sided {
        parts.next()
    } else {
        line.split_once(": ").map(|(_, found)| found)
    };
    // "Right ankle: …" where the measure does not name the place.
    let side = name.split([' ', ':']).next().unwrap_or_default();
    let name = match name.split_once(": ") {
        Some((_, rest)) => format!("{side}: {rest}"),
        None => name.clone(),
    };
    (sorted(&name), found.unwrap_or_default())
}

/// Each Observation has one line of its name, and each line an Observation that holds what it says.
fn findings(observations: &[&Node], lines: &[&str], faults: &mut Vec<String>) {
    let mut by_name: BTreeMap<String, Vec<&Node>> = BTreeMap::new();
    for one in observations {
        by_name.entry(name(one)).or_default().push(one);
    }
    for line in lines.iter().filter(|line| !is_of_ours(line)) {
        let (name, rest) = name_of_line(line);
        let candidates = by_name.get_mut(&name);
        let Some(candidates) = candidates.filter(|candidates| !candidates.is_empty()) else {
            faults.push(format!("no Observation of {name}: {line}"));
            continue;
        };
        // The same thing in two positions of the body differs in what is said of the position.
        let told = |one: &&Node| {
            let mut told = value_faults(one, rest);
            told.extend(missing(one, line));
            told.extend(numbers_left(&[*one], line));
            told
        };
        let at = candidates.iter().position(|one| told(one).is_empty());
        let at = at.unwrap_or_else(|| {
            faults.extend(
                told(&candidates[0])
                    .iter()
                    .map(|what| format!("{what}: {line}")),
            );
            0
        });
        candidates.remove(at);
    }
    for (name, left) in by_name {
        faults.extend(left.iter().map(|_| format!("nothing is said of {name}")));
    }
}

fn is_of_ours(line: &str) -> bool {
    let counts = line.starts_with(|first: char| first.is_ascii_digit())
        || line.starts_with("Not compared: ")
        || line.starts_with("Nothing was compared with ")
        || line.starts_with("No earlier session that speaks of ");
    counts
        || [
            "Nothing was recorded as left out.",
            "Asked and looked up: none is known.",
            "None stands.",
        ]
        .contains(&line)
}

/// A quantity of FHIR and of a line, as sign and digits, unit and bound.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Number {
    digits: String,
    unit: String,
    at_least: bool,
}

fn of_quantity(quantity: &Node) -> Number {
    Number {
        digits: quantity
            .member("value")
            .map(Node::compact)
            .expect("a number"),
        unit: quantity.text_of("code").expect("a unit").to_owned(),
        at_least: quantity.text_of("comparator") == Some(">="),
    }
}

/// The first number of some words with its unit in the words of the tables. What lies in the movement
/// that is opposite to the one of the measure has a minus in FHIR.
fn number_of(words: &str, opposite: Option<&str>) -> Option<Number> {
    if words.contains("the neutral position") {
        return Some(Number {
            digits: "0".to_owned(),
            unit: "deg".to_owned(),
            at_least: words.starts_with("end not reached"),
        });
    }
    if let Some(digits) = words.strip_prefix("a share of ") {
        return Some(Number {
            digits: digits.to_owned(),
            unit: "1".to_owned(),
            at_least: false,
        });
    }
    let begins = words.find(|c: char| c.is_ascii_digit())?;
    let (ahead, rest) = words.split_at(begins);
    let ends = rest.find(|c: char| !c.is_ascii_digit() && c != '.')?;
    let (digits, rest) = rest.split_at(ends);
    let turned = |opposite: &str| {
        let of = rest.trim_start().trim_start_matches("degree");
        of.trim_start_matches('s')
            .starts_with(&format!(" of {opposite}"))
    };
    let before = ahead.ends_with("minus ") || opposite.is_some_and(turned);
    let zero = digits.trim_matches(['0', '.']).is_empty();
    let sign = if before && !zero { "-" } else { "" };
    let unit = if rest.starts_with(" of 10") {
        "{score}".to_owned()
    } else {
        unit_of(rest.trim_start())?
    };
    Some(Number {
        digits: format!("{sign}{digits}"),
        unit,
        at_least: words.starts_with("end not reached") || words.starts_with("at least"),
    })
}

/// The unit whose name some words begin with; the longest counts.
fn unit_of(words: &str) -> Option<String> {
    let units = catalogue().units.iter();
    let fits = |label: &str| {
        let (first, rest) = label.split_once(' ').unwrap_or((label, ""));
        let many = words
            .strip_prefix(first)
            .map(|after| after.strip_prefix('s').unwrap_or(after));
        many.is_some_and(|after| after.trim_start().starts_with(rest))
    };
    let found = units.filter(|(_, unit)| !unit.label.is_empty() && fits(&unit.label));
    let longest = found.max_by_key(|(_, unit)| unit.label.len());
    longest.map(|(code, _)| code.clone())
}

/// What the value of an Observation and the words of a line differ in.
fn value_faults(one: &Node, rest: &str) -> Vec<String> {
    let mut faults = Vec::new();
    // What nobody stands by yet is never read as if somebody did.
    let preliminary = one.text_of("status") == Some("preliminary");
    if preliminary != rest.contains("computed by software and not yet accepted by a therapist") {
        faults.push(format!("preliminary {preliminary} is told otherwise"));
    }
    let value = rest.split("; ").next().unwrap_or_default();
    let value = value.trim_end_matches('.');
    let key = measure(one);
    if key.starts_with("trace.velocity.") && one.member("valueQuantity").is_some() {
        // Its numbers are for the record.
        let said = value.starts_with("a line through the catches");
        faults.extend((!said).then(|| "a line is not said".to_owned()));
        return faults;
    }
    let row = catalogue().measures.get(&key);
    let opposite = row.and_then(|row| row.opposite.as_deref());
    let opposite = opposite.map(|opposite| opposite.replace('-', " "));
    if let Some(quantity) = one.member("valueQuantity") {
        let held = of_quantity(quantity);
        let told = number_of(value, opposite.as_deref());
        // Neutral is a word in a line, however many zeros were written.
        let zero = held.digits.trim_matches(['-', '0', '.']).is_empty() && held.unit == "deg";
        let held = Number {
            digits: if zero { "0".to_owned() } else { held.digits },
            ..held
        };
        if told.as_ref() != Some(&held) {
            faults.push(format!("{held:?} is told as {told:?}"));
        }
        faults.extend(other_movement(one, value, &held));
        return faults;
    }
    let concept = one.member("valueCodeableConcept");
    let said = match (concept, one.member("dataAbsentReason")) {
        (Some(concept), _) => concept.text_of("text"),
        (None, Some(_)) if value == "no catch" => None,
        (None, Some(reason)) => reason.text_of("text"),
        (None, None) => None,
    };
    if let Some(said) = said.filter(|said| !rest.contains(said)) {
        faults.push(format!("{said} is not said"));
    }
    let scale = catalogue().measures[&measure(one)].scale.clone();
    let grade = scale.and_then(|list| own(concept, &list).map(|(code, _)| code.to_owned()));
    let graded = value.starts_with("grade ");
    let grade = grade.filter(|grade| graded && !value.starts_with(&format!("grade {grade}: ")));
    faults.extend(grade.map(|grade| format!("grade {grade} is told otherwise")));
    faults
}

/// An angle is told by the movement it lies in: that of the measure beyond neutral, the other before.
fn other_movement(one: &Node, value: &str, held: &Number) -> Option<String> {
    let row = &catalogue().measures[&measure(one)];
    let movement = if held.digits.starts_with('-') {
        row.opposite.as_ref()
    } else {
        row.movement.as_ref()
    };
    let movement = movement?.replace('-', " ");
    // A part of a stretch is an amount of degrees, which lies nowhere.
    let lies = row.kind.is_entered() || row.measure.starts_with("trace.catch.");
    let wanted = held.digits != "0" && lies;
    (wanted && !value.contains(&movement)).then(|| format!("{movement} is not said"))
}

/// What stands in an Observation and is not said in its line.
fn missing(one: &Node, line: &str) -> Vec<String> {
    let line = one_line(line);
    let said = |words: &str| line.contains(&one_line(words));
    let mut missing = Vec::new();
    for note in one
        .items_of("note")
        .iter()
        .filter_map(|note| note.text_of("text"))
    {
        let of_software = note.starts_with("carried over from")
            || note.starts_with("prompt to look: ")
            || note.starts_with("computed from the trace by a rule")
            || note.starts_with("computed from traces by a rule")
            || measure(one) == "session.examination";
        if !of_software && !said(of_a_reader(note)) {
            missing.push(format!("the note {note} is not said"));
        }
    }
    let beside = one
        .items_of("referenceRange")
        .iter()
        .chain(one.items_of("interpretation"));
    missing.extend(
        beside
            .filter_map(|beside| beside.text_of("text"))
            .filter(|words| !said(of_a_reader(words)))
            .map(|words| format!("the range {words} is not said")),
    );
    let value = one.text_of("valueString").into_iter();
    missing.extend(
        value
            .filter(|words| !said(&format!("\u{201c}{}\u{201d}", one_line(words))))
            .map(|words| format!("{words} is not said as a quotation")),
    );
    let of_a_trace = measure(one).starts_with("trace.");
    for part in one.items_of("component") {
        let code = own(part.member("code"), "component").map(|(code, _)| code);
        if !(of_a_trace && code == Some("stretch-velocity")) {
            missing.extend(part_missing(part, &line));
        }
    }
    missing
}

/// What of a row of a table is for a reader: neither the names of table and row nor that of the rule.
fn of_a_reader(text: &str) -> &str {
    if text.starts_with("computed by rule ") {
        return text.split_once("; ").map_or("", |(_, words)| words);
    }
    let named = text.starts_with("table ") || text.contains(".csv/");
    let words = text.split_once(": ").filter(|_| named);
    let words = words.map_or(text, |(_, words)| words);
    let words = words
        .rsplit_once("; rule ")
        .map_or(words, |(words, _)| words);
    words
        .split_once(", table ")
        .map_or(words, |(words, _)| words)
}

/// Of what was computed from a trace: what it came to, how far it may be off, and who stands by it.
const OF_A_TRACE: [&str; 5] = [
    "outcome",
    "late-by",
    "random-error",
    "accepted",
    "accepted-by",
];

/// What of one part is not said in a line.
fn part_missing(part: &Node, line: &str) -> Vec<String> {
    let said = |words: &str| line.contains(&one_line(words));
    let mut missing = Vec::new();
    let (code, _) = own(part.member("code"), "component").expect("a part of ours");
    // The parameters of a computation stay in the record.
    let technical = code
        .strip_prefix("trace-")
        .is_some_and(|rest| !OF_A_TRACE.contains(&rest));
    if technical || ["joint-state", "told-prompt", "comparison-rule"].contains(&code) {
        return missing;
    }
    if let Some(quantity) = part.member("valueQuantity") {
        let held = of_quantity(quantity);
        let in_line = line
            .split("; ")
            .filter_map(|words| number_of(words, None))
            .any(|told| told == held);
        if !in_line {
            missing.push(format!("{code} {held:?} is not said"));
        }
    }
    let words = part
        .at(&["valueCodeableConcept", "text"])
        .and_then(Node::text);
    let intended = code == "ending" && words.is_some_and(|it| it.starts_with("carried"));
    // Why a movement was stopped stands behind the word of its ending, and is told as a quotation.
    let words = words.map(|words| match (code, words.split_once(": ")) {
        ("ending", Some((how, _))) => how,
        (_, _) => words,
    });
    let strings = words.filter(|_| !intended).into_iter();
    let strings = strings.chain(part.text_of("valueString").map(of_a_reader));
    missing.extend(
        strings
            .filter(|words| !(said(words) || code == "visit-outcome" && said(&capital(words))))
            .map(|words| format!("{code} {words} is not said")),
    );
    let day = part.text_of("valueDateTime").map(long_day);
    missing.extend(
        day.filter(|day| !line.contains(day))
            .map(|day| format!("{code} {day}")),
    );
    let count = part.member("valueInteger").map(Node::compact);
    missing.extend(
        count
            .filter(|count| !line.contains(count))
            .map(|count| format!("{code} {count}")),
    );
    missing
}

/// Each Observation is said whole in a line of its own, and each line belongs to one.
fn whole(observations: &[&Node], lines: &[&str], faults: &mut Vec<String>) {
    let mut left: Vec<&&Node> = observations.iter().collect();
    for line in lines.iter().filter(|line| !is_of_ours(line)) {
        let holds =
            |one: &&&Node| missing(one, line).is_empty() && numbers_left(&[**one], line).is_empty();
        let site = |one: &&&Node| {
            let site = one.at(&["bodySite", "text"]).and_then(Node::text);
            site.is_none_or(|site| {
                line.to_lowercase()
                    .starts_with(&format!("{}: ", site.to_lowercase()))
            })
        };
        let limit = |one: &&&Node| {
            let limit = one
                .at(&["valueCodeableConcept", "text"])
                .and_then(Node::text);
            limit.is_none_or(|limit| line.contains(limit))
        };
        let at = left
            .iter()
            .position(|one| holds(one) && site(one) && limit(one));
        match at {
            Some(at) => {
                left.remove(at);
            }
            None => faults.push(format!("no Observation holds all of: {line}")),
        }
    }
    faults.extend(
        left.iter()
            .map(|one| format!("nothing is said of {}", measure(one))),
    );
}

/// Digits of a line that no Observation of it accounts for.
fn numbers_left(observations: &[&Node], line: &str) -> Vec<String> {
    let mut known = Vec::new();
    for one in observations {
        strings(one, &mut known);
    }
    // Times and days are told in words.
    let mut told: Vec<String> = known.iter().map(|text| one_line(text)).collect();
    told.extend(known.iter().map(|text| long_day(text)));
    // Of a row of a table the line says the words alone.
    told.extend(known.iter().map(|text| one_line(of_a_reader(text))));
    let words = known.iter().flat_map(|text| text.split_whitespace());
    let days = words.map(|word| (word, long_day(word)));
    let is_year = |word: &str| word.len() == 4 && word.bytes().all(|byte| byte.is_ascii_digit());
    let days = days.filter(|(word, day)| word != day || is_year(word));
    told.extend(days.map(|(_, day)| day));
    let all = told.join("\n");
    told.retain(|text| text.chars().any(|c| c.is_ascii_digit()));
    told.sort_by_key(|text| std::cmp::Reverse(text.len()));
    let mut rest = one_line(line);
    // Somebody's own words may hold anything; what is quoted stands in the resource.
    for quoted in one_line(line).split('\u{201c}').skip(1) {
        let words = quoted.split('\u{201d}').next().unwrap_or_default();
        if all.contains(words) {
            rest = rest.replace(&format!("\u{201c}{words}\u{201d}"), "");
        }
    }
    for text in &told {
        rest = rest.replace(text.as_str(), "");
        rest = rest.replace(&capital(text), "");
    }
    let left: String = rest
        .split(|c: char| !c.is_ascii_digit() && c != '.')
        .filter(|word| word.chars().any(|c| c.is_ascii_digit()))
        .collect::<Vec<_>>()
        .join(" ");
    if left.is_empty() {
        Vec::new()
    } else {
        vec![format!("nothing holds {left}")]
    }
}

/// Every text and every number of a resource, numbers without their sign; narratives left out.
fn strings(node: &Node, found: &mut Vec<String>) {
    match node {
        Node::Text(text) => found.push(text.clone()),
        Node::Number(digits) => found.push(digits.trim_start_matches('-').to_owned()),
        Node::Object(members) => {
            let members = members.iter().filter(|(key, _)| {
                ![
                    "identifier",
                    "subject",
                    "performer",
                    "hasMember",
                    "div",
                    "meta",
                    "issued",
                ]
                .contains(&key.as_ref())
            });
            members.for_each(|(_, member)| strings(member, found));
        }
        Node::List(items) => items.iter().for_each(|item| strings(item, found)),
        Node::Null | Node::Bool(_) => {}
    }
    // "3 of 10" is a score of a scale that ends at 10.
    if node.text_of("code") == Some("{score}") {
        let value = node.member("value").map(Node::compact);
        found.extend(value.map(|value| format!("{value} of 10")));
    }
}

/// `2026-10-19T10:15:00+02:00` as `19 October 2026 at 10:15`, and a day, a month or a year alike.
fn long_day(written: &str) -> String {
    const MONTHS: [&str; 12] = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    let parts: Vec<&str> = written
        .get(..written.len().min(10))
        .unwrap_or("")
        .split('-')
        .collect();
    let month = |text: &str| {
        MONTHS
            .get(text.parse::<usize>().ok()?.checked_sub(1)?)
            .copied()
    };
    let day = match parts.as_slice() {
        [year, of, day] if year.len() == 4 => {
            month(of).map(|month| format!("{} {month} {year}", day.trim_start_matches('0')))
        }
        [year, of] if year.len() == 4 => month(of).map(|month| format!("{month} {year}")),
        _ => None,
    };
    match (day, written.get(11..16)) {
        (Some(day), Some(time)) => format!("{day} at {time}"),
        (Some(day), None) => day,
        (None, _) => written.to_owned(),
    }
}

fn title(panel: &Node, title: &str) -> Option<String> {
    let at = |key: &str| panel.at(&["effectivePeriod", key]).and_then(Node::text);
    let (start, end) = (at("start")?, at("end")?);
    let day = long_day(start.get(..10)?);
    let wanted = format!("{day}, {} to {}", start.get(11..16)?, end.get(11..16)?);
    (!title.contains(&wanted)).then(|| format!("{wanted} is not in the title {title}"))
}

fn one_line(words: &str) -> String {
    words.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(char::to_uppercase);
    first.into_iter().flatten().chain(letters).collect()
}
