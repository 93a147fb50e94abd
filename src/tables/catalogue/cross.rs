//! Faults that show only when tables are read together.

use crate::tables::catalogue::check_digit::holds as check_digit_holds;
use crate::tables::catalogue::dimension::Dimension;
use crate::tables::catalogue::fault::Fault;
use crate::tables::catalogue::rows::{CodeRow, Measure, Relation};
use crate::tables::catalogue::{
    Catalogue, LOINC, NO_RESULT, NOT_TESTED, SNOMED, TableFile, VISIT, cautions, code_map,
    comparing_faults, cross_parts,
};
use std::collections::BTreeSet;

/// Every fault between the tables, at the line of the row that has it.
pub(super) fn faults(catalogue: &Catalogue, files: &[TableFile<'_>]) -> Vec<Fault> {
    let mut told = Faults {
        files,
        faults: Vec::new(),
    };
    for measure in catalogue.measures.values() {
        of_measure(catalogue, measure, &mut told);
    }
    for (unit, row) in &catalogue.units {
        let measures = row.dimension;
        if octofhir_ucum::validate(unit).is_err() {
            told.fault("units.csv", unit, format!("{unit} is no UCUM code"));
        } else if !measures.is_of(unit) {
            let what = format!(
                "{unit} is {}, and not {}",
                Dimension::of(unit),
                measures.told()
            );
            told.fault("units.csv", unit, what);
        }
    }
    of_codes(catalogue, &mut told);
    of_codes_to_confirm(catalogue, &mut told);
    of_end_feels(catalogue, &mut told);
    of_reasons(catalogue, &mut told);
    of_scales(catalogue, &mut told);
    let beside = cross_parts::faults(catalogue);
    for (file, key, what) in beside.into_iter().chain(cautions::faults(catalogue)) {
        told.fault(file, &key, what);
    }
    for (file, key, what) in comparing_faults::faults(catalogue) {
        told.fault(file, &key, format!("{key}: {what}"));
    }
    for site in catalogue.sites.values() {
        for (code, _) in site.published().into_iter().flatten() {
            if !check_digit_holds(SNOMED, code) {
                let what = format!("{}: {code} fails its check digit", site.site);
                told.fault("sites.csv", &site.site, what);
            }
        }
        // One side alone would let the other look as if it were no side at all.
        if site.left_code.is_some() != site.right_code.is_some() {
            let what = format!("{}: give the codes of both sides or of none", site.site);
            told.fault("sites.csv", &site.site, what);
        }
    }
    told.faults
}

struct Faults<'a> {
    files: &'a [TableFile<'a>],
    faults: Vec<Fault>,
}

impl Faults<'_> {
    /// Tells a fault of the row whose first cells are `key`.
    fn fault(&mut self, file: &str, key: &str, what: String) {
        let text = self.files.iter().find(|one| one.name == file);
        let beginning = format!("{key},");
        let mut lines = (1..).zip(text.map_or("", |one| one.text).lines());
        // A key in quotation marks is not found, and the fault is told of the file.
        let line = lines.find_map(|(number, line)| line.starts_with(&beginning).then_some(number));
        self.faults.push(Fault {
            file: file.to_owned(),
            line: line.unwrap_or(0),
            what,
        });
    }
}

fn of_end_feels(catalogue: &Catalogue, told: &mut Faults<'_>) {
    for (end_feel, ending) in &catalogue.end_feel_endings {
        for (list, word) in [("end-feel", end_feel), ("ending", ending)] {
            if catalogue.word(list, word).is_none() {
                let what = format!("{word} is no word of the list {list}");
                told.fault("end_feel_endings.csv", end_feel, what);
            }
        }
    }
}

fn of_measure(catalogue: &Catalogue, measure: &Measure, told: &mut Faults<'_>) {
    let key = &measure.measure;
    let mut fault = |what: &str| told.fault("measures.csv", key, format!("{key}: {what}"));
    let known =
        |list: Option<&String>, found: &dyn Fn(&str) -> bool| list.is_none_or(|name| found(name));
    if !known(measure.site.as_ref(), &|site| {
        catalogue.sites.contains_key(site)
    }) {
        fault("its site is not in sites.csv");
    }
    if !known(measure.scale.as_ref(), &|scale| {
        catalogue.scales.contains_key(scale)
    }) {
        fault("its scale has no file");
    }
    if !known(measure.unit.as_ref(), &|unit| {
        catalogue.units.contains_key(unit)
    }) {
        fault("its unit is not in units.csv");
    }
    if let Some(unit) = &measure.unit {
        match catalogue.dimension_of(measure) {
            None => fault("it has a unit, and no family of dimensions.csv says of which dimension"),
            Some(wanted) if octofhir_ucum::validate(unit).is_ok() && !wanted.is_of(unit) => {
                let wanted = wanted.told();
                fault(&format!(
                    "{unit} is {}, and it needs {wanted}",
                    Dimension::of(unit)
                ));
            }
            Some(_) => {}
        }
    }
    if let (Some(low), Some(high)) = (measure.ask_below, measure.ask_above)
        && low > high
    {
        fault("ask_below is above ask_above");
    }
    if measure.kind.has_ending() && measure.sign.is_none() {
        fault("a measure of an angle needs a sign");
    }
}

/// A missing value names a standard reason, so each reason of ours needs exactly one.
fn of_reasons(catalogue: &Catalogue, told: &mut Faults<'_>) {
    for list in [NOT_TESTED, NO_RESULT, VISIT] {
        let reasons = catalogue.scales.get(list).map(|scale| &scale.rows);
        for reason in reasons.into_iter().flatten() {
            let thing = format!("{list}/{}", reason.code);
            let standard = catalogue
                .codes_of(&thing)
                .filter(|row| row.relation == Relation::Absent);
            if standard.count() != 1 {
                let what = format!("{thing}: give it one data-absent-reason");
                told.fault(&format!("scales/{list}.csv"), &reason.code, what);
            }
        }
    }
}

/// Each scale says whether it has an order, which way is worse, and who may claim its wording.
fn of_scales(catalogue: &Catalogue, told: &mut Faults<'_>) {
    for (name, scale) in &catalogue.scales {
        let Some(note) = catalogue.scale_notes.get(name) else {
            let what = format!("{name}: scales.csv has no row for it");
            told.fault(&format!("scales/{name}.csv"), "code", what);
            continue;
        };
        for what in note.faults(scale) {
            told.fault("scales.csv", name, what);
        }
    }
    let names = catalogue.scale_notes.keys();
    for name in names.filter(|name| !catalogue.scales.contains_key(*name)) {
        let what = format!("{name}: there is no such scale");
        told.fault("scales.csv", name, what);
    }
}

fn of_codes(catalogue: &Catalogue, told: &mut Faults<'_>) {
    let mut first_codings = BTreeSet::new();
    for row in &catalogue.codes {
        let mut fault = |what: String| match row.line {
            Some(line) => told.faults.push(Fault {
                file: code_map::FILE.to_owned(),
                line,
                what,
            }),
            None => told.fault("codes.csv", &key(row), what),
        };
        if !is_code(&row.code) || !is_address(&row.system) {
            fault(format!(
                "{}: {} of {} is no code of a system",
                row.thing, row.code, row.system
            ));
        }
        if !check_digit_holds(&row.system, &row.code) {
            fault(format!("{}: {} fails its check digit", row.thing, row.code));
        }
        let known = match row.thing.split_once('/') {
            Some(("site", code)) => catalogue.site_display(code).is_some(),
            Some((list, code)) => catalogue.word(list, code).is_some(),
            None => catalogue.measures.contains_key(&row.thing),
        };
        if !known {
            fault(format!("{} is no measure and no word", row.thing));
        }
        let structure = row.relation == Relation::Equivalent && row.system == SNOMED;
        if structure && row.thing.starts_with("site/") {
            fault(format!(
                "{}: a body structure of SNOMED CT stands in sites.csv",
                row.thing
            ));
        }
        let measure = catalogue.measures.get(&row.thing);
        let site = measure.map(|measure| unsided(catalogue, measure));
        let first = (&row.system, &row.code, site);
        if row.relation == Relation::Equivalent && !first_codings.insert(first) {
            fault(format!(
                "{}: another measure at the same site has the same first coding",
                row.thing
            ));
        }
    }
}

fn of_codes_to_confirm(catalogue: &Catalogue, told: &mut Faults<'_>) {
    for row in &catalogue.codes_to_confirm {
        let mut fault = |what: &str| {
            let what = format!("{}: {what}", row.thing);
            told.fault("codes_to_confirm.csv", &row.thing, what);
        };
        if !catalogue.measures.contains_key(&row.thing) {
            fault("it is no measure");
        }
        if row.system != LOINC || !check_digit_holds(LOINC, &row.code) {
            fault("its code is no LOINC number");
        }
        if row.relation != Relation::Equivalent {
            fault("only an equivalent code waits to be confirmed");
        }
    }
}

/// "A code … has at least one character and no leading or trailing whitespace, and where there is
/// no whitespace other than single spaces in the contents" (FHIR R4, datatypes.html#code).
fn is_code(code: &str) -> bool {
    let control = code
        .chars()
        .any(|c| c.is_whitespace() && c != ' ' || c.is_control());
    !control && !code.is_empty() && code.split(' ').all(|part| !part.is_empty())
}

/// A code system is named by an absolute address (FHIR R4, datatypes.html#Coding).
fn is_address(system: &str) -> bool {
    let scheme = system.split_once(':').map_or("", |(scheme, _)| scheme);
    !scheme.is_empty()
        && scheme
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || "+-.".contains(c))
        && !system.chars().any(|c| c.is_whitespace() || c.is_control())
}

/// The unsided body structure of a measure: two sites of ours may share it.
fn unsided<'a>(catalogue: &'a Catalogue, measure: &'a Measure) -> Option<&'a str> {
    let site = measure.site.as_deref()?;
    let known = catalogue.sites.get(site);
    Some(known.map_or(site, |row| row.unsided_code.as_deref().unwrap_or(site)))
}

/// The cells by which a row of `codes.csv` is found.
fn key(row: &CodeRow) -> String {
    [
        row.thing.as_str(),
        row.relation.word(),
        &row.system,
        &row.code,
    ]
    .join(",")
}
