#![cfg(test)]
//! Source: the UCUM functional tests, UcumFunctionalTests.xml of the UCUM organisation
//! (github.com/ucum-org/ucum, common-units), as `tests/conformance/setup` fetches them: sections
//! `validation` and `conversion`. The product asks this library whether a unit is one and which units are
//! of one dimension, so it is held to the published cases itself.
//!
//! They run where `FASCICLE_JUDGES` names the folder of the judges, and with `FASCICLE_REQUIRE_JUDGES=1`
//! they must.
#![expect(
    clippy::disallowed_methods,
    clippy::float_arithmetic,
    clippy::print_stdout,
    reason = "where the published file lies is told by a variable, a test that does not run says so, and the \
              library converts in floats"
)]

use std::collections::BTreeMap;
use std::path::Path;

type Case = BTreeMap<String, String>;

/// Cases that the library decides otherwise, each with the reason why that hurts nobody here.
const KNOWN: &[(&str, &str)] = &[];

fn published() -> Option<String> {
    let required = std::env::var("FASCICLE_REQUIRE_JUDGES").is_ok_and(|value| value == "1");
    let folder = std::env::var("FASCICLE_JUDGES").unwrap_or_default();
    let file = Path::new(&folder).join("reference/ucum-tests/UcumFunctionalTests.xml");
    match std::fs::read_to_string(&file) {
        Ok(text) => Some(text),
        Err(cause) => {
            assert!(!required, "{}: {cause}", file.display());
            println!("not run: FASCICLE_JUDGES names no folder with the published tests");
            None
        }
    }
}

/// The cases of a section, each with its attributes.
fn cases(text: &str, section: &str) -> Vec<Case> {
    let (_, rest) = text.split_once(&format!("<{section}>")).expect("a section");
    let (part, _) = rest.split_once(&format!("</{section}>")).expect("its end");
    // What was commented out counts no more.
    let mut parts = part.split("<!--");
    let mut standing = parts.next().unwrap_or_default().to_owned();
    standing.extend(parts.filter_map(|part| Some(part.split_once("-->")?.1)));
    let cases = standing.split("<case ").skip(1);
    cases
        .map(|case| {
            let (attributes, _) = case.split_once('>').expect("an end");
            let mut found = Case::new();
            let mut rest = attributes;
            while let Some((name, after)) = rest.split_once("=\"") {
                let (value, after) = after.split_once('"').expect("a quotation mark");
                let value = value
                    .replace("&lt;", "<")
                    .replace("&gt;", ">")
                    .replace("&quot;", "\"")
                    .replace("&apos;", "'")
                    .replace("&amp;", "&");
                found.insert(name.trim().to_owned(), value);
                rest = after;
            }
            found
        })
        .collect()
}

/// By how much a number may differ that is published rounded: half of its last digit.
fn half_a_digit(text: &str) -> f64 {
    let lower = text.to_lowercase();
    let (digits, power) = lower.split_once('e').unwrap_or((&lower, "0"));
    let decimals = digits.split_once('.').map_or(0, |(_, after)| after.len());
    let power: i32 = power.parse().expect("a power of ten");
    let last = power - i32::try_from(decimals).expect("few digits");
    0.500_001 * 10_f64.powi(last)
}

fn held(faults: &BTreeMap<String, String>) {
    let known: Vec<&str> = KNOWN.iter().map(|(id, _)| *id).collect();
    let told: Vec<&str> = faults.keys().map(String::as_str).collect();
    assert_eq!(told, known, "{faults:#?}");
}

#[test]
fn a_unit_is_one_where_the_published_tests_say_so() {
    let Some(text) = published() else { return };
    let cases = cases(&text, "validation");
    let mut faults = BTreeMap::new();

    for case in &cases {
        let (unit, valid) = (&case["unit"], case["valid"] == "true");
        if octofhir_ucum::validate(unit).is_ok() != valid {
            faults.insert(case["id"].clone(), format!("{unit} is valid: {valid}"));
        }
    }

    println!("UCUM functional tests, validation: {} cases", cases.len());
    assert!(cases.len() > 500, "{} cases were read", cases.len());
    held(&faults);
}

#[test]
fn units_are_converted_as_the_published_tests_say_and_are_of_one_dimension() {
    let Some(text) = published() else { return };
    let cases = cases(&text, "conversion");
    let mut faults = BTreeMap::new();

    for case in &cases {
        let (from, to) = (&case["srcUnit"], &case["dstUnit"]);
        if !octofhir_ucum::is_comparable(from, to).unwrap_or(false) {
            faults.insert(case["id"].clone(), format!("{from} and {to}"));
        }
        let number = |key: &str| case[key].parse::<f64>().expect("a number");
        let (value, outcome) = (number("value"), number("outcome"));
        let came = octofhir_ucum::convert(value, from, to).unwrap_or(f64::NAN);
        if (came - outcome).abs() > half_a_digit(&case["outcome"]) {
            let told = format!("{value} {from} is {outcome} {to}, came to {came}");
            faults.insert(case["id"].clone(), told);
        }
    }

    println!("UCUM functional tests, conversion: {} cases", cases.len());
    assert!(cases.len() >= 30, "{} cases were read", cases.len());
    held(&faults);
}

/// The product converts nothing: a grip in newtons and one in kilograms of force stand as they were read,
/// and are not compared. Whoever converts what it sends can do so both ways, because the units it lets
/// through are those of UCUM.
///
/// Source: the international inch is 2.54 cm and the kilogram of force 9.80665 N (UCUM, tables of international
/// customary units and of other units).
#[test]
fn units_of_one_dimension_convert_there_and_back() {
    let catalogue = fascicle::tables::catalogue::Catalogue::embedded().expect("sound tables");
    let convert = |value: f64, from: &str, to: &str| {
        octofhir_ucum::convert(value, from, to)
            .unwrap_or_else(|fault| panic!("{from}, {to}: {fault}"))
    };
    let mut pairs = 0;
    for (one, of_one) in &catalogue.units {
        for (other, of_other) in &catalogue.units {
            // What is counted in braces is of no unit that anything could be converted into.
            if of_one.dimension != of_other.dimension || one.contains('{') || other.contains('{') {
                continue;
            }
            pairs += usize::from(one != other);
            for value in [0.0, 0.5, -12.5, 37.25, 180.0] {
                let back = convert(convert(value, one, other), other, one);
                assert!(
                    (back - value).abs() <= 1e-12 * value.abs(),
                    "{value} {one} in {other} and back is {back}"
                );
            }
        }
    }
    assert!(pairs >= 18, "{pairs} pairs");
    assert!((convert(1.0, "[in_i]", "cm") - 2.54).abs() < 1e-12);
    assert!((convert(1.0, "kgf", "N") - 9.80665).abs() < 1e-12);
}
