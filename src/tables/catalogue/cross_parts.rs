//! Faults of the tables that say what belongs to a finding beside its row.

use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::dimension::Dimension;
use crate::tables::catalogue::parts::{GIRTH, in_family};

/// Every fault, with its table and the beginning of its row.
pub(super) fn faults(catalogue: &Catalogue) -> Vec<(&'static str, String, String)> {
    let mut faults = Vec::new();
    of_units(catalogue, &mut faults);
    of_parts(catalogue, &mut faults);
    of_landmarks(catalogue, &mut faults);
    for unit in catalogue.counted_units.keys() {
        if !catalogue.units.contains_key(unit) {
            let what = format!("{unit} is not in units.csv");
            faults.push(("counted_units.csv", unit.clone(), what));
        }
    }
    for row in &catalogue.scale_versions {
        for list in [&row.scale, &row.list] {
            if !catalogue.scales.contains_key(list) {
                let what = format!("{list} is no scale");
                faults.push(("scale_versions.csv", key(&[&row.scale, &row.version]), what));
            }
        }
    }
    for row in &catalogue.grade_amounts {
        let mut fault = |what: String| {
            faults.push(("grade_amounts.csv", key(&[&row.list, &row.grade]), what));
        };
        if catalogue.word(&row.list, &row.grade).is_none() {
            fault(format!("{} has no grade {}", row.list, row.grade));
        }
        if catalogue.word("component", &row.part).is_none() {
            fault(format!("{} is no word of the list component", row.part));
        }
        if !catalogue.units.contains_key(&row.unit) {
            fault(format!("{} is not in units.csv", row.unit));
        }
    }
    faults
}

type Faults = Vec<(&'static str, String, String)>;

fn key(cells: &[&str]) -> String {
    cells.join(",")
}

/// A further unit measures what the unit of the measure does: a mass is no force.
fn of_units(catalogue: &Catalogue, faults: &mut Faults) {
    for row in &catalogue.unit_choices {
        let mut fault = |what: String| {
            faults.push(("unit_choices.csv", key(&[&row.family, &row.unit]), what));
        };
        let unit = &row.unit;
        if !catalogue.units.contains_key(unit) {
            fault(format!("{unit} is not in units.csv"));
            continue;
        }
        let measures = catalogue.measures.values();
        let mut family = measures.filter(|one| in_family(&one.measure, &row.family));
        let Some(measure) = family.next() else {
            fault(format!("{} begins no measure", row.family));
            continue;
        };
        let wanted = catalogue.dimension_of(measure);
        if let Some(wanted) = wanted.filter(|wanted| !wanted.is_of(unit)) {
            let is = Dimension::of(unit);
            let wanted = wanted.told();
            fault(format!("{unit} is {is}, and {} needs {wanted}", row.family));
        }
    }
}

fn of_parts(catalogue: &Catalogue, faults: &mut Faults) {
    for row in &catalogue.parts {
        let mut fault = |what: String| {
            faults.push(("parts.csv", key(&[&row.family, &row.part]), what));
        };
        if catalogue.word("component", &row.part).is_none() {
            fault(format!("{} is no word of the list component", row.part));
        }
        match (&row.list, &row.unit) {
            (Some(list), None) if !catalogue.scales.contains_key(list) => {
                fault(format!("{list} is no scale"));
            }
            (None, Some(unit)) if !catalogue.units.contains_key(unit) => {
                fault(format!("{unit} is not in units.csv"));
            }
            (Some(_), None) | (None, Some(_)) => {}
            (Some(_), Some(_)) | (None, None) => fault("give a list or a unit".to_owned()),
        }
        let mut keys = catalogue.measures.keys();
        if !keys.any(|measure| in_family(measure, &row.family)) {
            fault(format!("{} begins no measure", row.family));
        }
    }
}

/// A girth without its place is a number that no other can be set against.
fn of_landmarks(catalogue: &Catalogue, faults: &mut Faults) {
    for measure in catalogue.measures.keys() {
        if in_family(measure, GIRTH) && !catalogue.landmarks.contains_key(measure) {
            let what = format!("{measure}: landmarks.csv does not say where it is taken");
            faults.push(("measures.csv", measure.clone(), what));
        }
    }
    for row in catalogue.landmarks.values() {
        let mut fault = |what: String| faults.push(("landmarks.csv", row.measure.clone(), what));
        if !catalogue.measures.contains_key(&row.measure) {
            fault(format!("{} is no measure", row.measure));
        }
        for (list, word) in [("landmark", &row.landmark), ("component", &row.direction)] {
            if catalogue.word(list, word).is_none() {
                fault(format!("{word} is no word of the list {list}"));
            }
        }
        let length = |unit: &&String| Dimension::Length.is_of(unit);
        if !catalogue
            .units
            .keys()
            .filter(length)
            .any(|unit| *unit == row.unit)
        {
            fault(format!("{} is no length of units.csv", row.unit));
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::tables::catalogue::overlay::Overlay;
    use crate::tables::catalogue::{TableFile, embedded};

    /// A table, what stands there, what is to stand there, and the fault.
    const WRONG: &[(&str, &str, &str, &str)] = &[
        (
            "parts.csv",
            "clonus.beats,duration",
            "clonus.beatz,duration",
            "clonus.beatz begins no measure",
        ),
        (
            "parts.csv",
            "duration,none,s",
            "duration,none,none",
            "give a list or a unit",
        ),
        (
            "parts.csv",
            "duration,none,s",
            "durance,none,s",
            "durance is no word of the list component",
        ),
        (
            "parts.csv",
            "duration,none,s",
            "duration,none,h",
            "h is not in units.csv",
        ),
        (
            "scale_versions.csv",
            "mrc-power-plus-minus",
            "mrc-power-halves",
            "mrc-power-halves is no scale",
        ),
        (
            "grade_amounts.csv",
            "monofilament,5.07",
            "monofilament,5.08",
            "monofilament has no grade 5.08",
        ),
        (
            "counted_units.csv",
            "{beat}",
            "{hop}",
            "{hop} is not in units.csv",
        ),
        (
            "cautions.csv",
            "calf.grown,prompt",
            "calf.grew,prompt",
            "nothing raises calf.grew: no rule of ours, and as a prompt no row of caution_signs.csv",
        ),
        (
            "cautions.csv",
            "calf.grown,prompt",
            "calf.grown,confirm",
            "calf.grown waits for nobody: asked is prompt",
        ),
        (
            "cautions.csv",
            "shoulder.past,confirm",
            "shoulder.past,prompt",
            "shoulder.past waits for a person: asked is confirm",
        ),
        (
            "cautions.csv",
            "calf.grown,prompt",
            "calf.negative,prompt",
            "nothing raises calf.negative: no rule of ours, and as a prompt no row of caution_signs.csv",
        ),
        (
            "caution_signs.csv",
            "sensation.temperature,absent",
            "sensation.temperature,gone",
            "gone is no value of sensation.temperature",
        ),
        (
            "caution_signs.csv",
            "sensation.temperature-absent,",
            "sensation.temperature-gone,",
            "sensation.temperature-gone is not in cautions.csv",
        ),
    ];

    fn ours(name: &str) -> &'static str {
        let file = embedded::FILES.iter().find(|file| file.name == name);
        file.expect("a table of ours").text
    }

    fn told(name: &str, text: &str) -> Vec<String> {
        let faults = Overlay::new(&[TableFile { name, text }]).read().err();
        let faults = faults.unwrap_or_default();
        faults.iter().map(ToString::to_string).collect()
    }

    fn line(text: &str, beginning: &str) -> usize {
        let found = text.lines().position(|line| line.starts_with(beginning));
        found.expect("a row") + 1
    }

    /// Source: UCUM 2.2, avoirdupois mass and force: grip is a force, whatever the dial says.
    #[test]
    fn a_further_unit_of_the_wrong_dimension_is_refused() {
        let text = ours("unit_choices.csv").replace("grip.force,[lbf_av],", "grip.force,mm,");

        assert_eq!(
            told("unit_choices.csv", &text),
            [format!(
                "profiles/unit_choices.csv:{}: mm is a length, and grip.force needs a force",
                line(&text, "grip.force,mm,")
            )]
        );
    }

    #[test]
    fn a_scale_without_order_direction_or_copyright_is_refused() {
        let whole = ours("scales.csv");
        let row = |name: &str| {
            let found = whole.lines().find(|line| line.starts_with(name));
            found.expect("a row").to_owned()
        };
        let power = row("mrc-power,");
        let with = |other: &str| told("scales.csv", &whole.replace(&power, other));
        let at = line(whole, "mrc-power,");
        let wrong = |what: &str| [format!("profiles/scales.csv:{at}: {what}")];

        assert_eq!(
            told("scales.csv", &whole.replace(&format!("{power}\n"), "")),
            ["profiles/scales/mrc-power.csv:2: mrc-power: scales.csv has no row for it"]
        );
        let nominal = power.replace(",ordinal,down,", ",nominal,none,");
        assert_eq!(
            with(&nominal),
            wrong("mrc-power: nominal, but a row has a rank")
        );
        let copyright = power.split('"').nth(1).expect("a note in quotation marks");
        let silent = power.replace(&format!("\"{copyright}\""), "");
        assert_eq!(
            with(&silent),
            wrong("copyright is empty or padded; write none")
        );
        let undirected = power.replace(",ordinal,down,", ",ordinal,sideways,");
        let faults = with(&undirected);
        assert!(
            faults.iter().any(|fault| fault.contains("sideways")),
            "{faults:?}"
        );
        let directed = whole.replace("\npresence,nominal,none,", "\npresence,nominal,up,");
        assert!(
            told("scales.csv", &directed)
                .iter()
                .any(|fault| fault.ends_with("presence: worsening needs an order"))
        );
    }

    #[test]
    fn a_girth_without_its_landmark_is_refused() {
        let text = ours("landmarks.csv");
        let row = text.lines().find(|line| line.starts_with("girth.calf."));
        let text = text.replace(&format!("{}\n", row.expect("a row")), "");
        let at = line(ours("measures.csv"), "girth.calf.");

        assert_eq!(
            told("landmarks.csv", &text),
            [format!(
                "profiles/measures.csv:{at}: girth.calf.10-below-tibial-tuberosity: landmarks.csv does not say where it is taken"
            )]
        );
    }

    #[test]
    fn parts_versions_amounts_and_signs_name_only_what_exists() {
        for (table, from, to, fault) in WRONG {
            let faults = told(table, &ours(table).replace(from, to));

            assert!(
                faults
                    .iter()
                    .any(|one| one.starts_with(&format!("profiles/{table}:"))
                        && one.ends_with(fault)),
                "{fault} not in {faults:#?}"
            );
        }
    }
}
