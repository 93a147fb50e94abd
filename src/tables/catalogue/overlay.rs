//! An operator's own tables laid over ours.

use crate::tables::catalogue::fault::Fault;
use crate::tables::catalogue::rows::Origin;
use crate::tables::catalogue::{Catalogue, TableFile, code_map, embedded, sha256_hex};
use std::collections::{BTreeMap, BTreeSet};

/// Our tables with some replaced by an operator's own.
#[derive(Debug)]
pub struct Overlay<'a> {
    files: Vec<TableFile<'a>>,
    /// Names of ours that were replaced.
    pub replaced: Vec<&'a str>,
    /// Names of word lists that were added.
    pub added: Vec<&'a str>,
    unknown: Vec<Fault>,
}

impl<'a> Overlay<'a> {
    /// Lays files over ours: one with the name of ours takes its place, one in `scales/` with a name
    /// of its own is a further word list, and a name that means nothing is a fault.
    pub fn new(own: &[TableFile<'a>]) -> Self {
        let ours = || embedded::FILES.iter().chain([&embedded::SOURCES]);
        let named = |name: &str| own.iter().find(|file| file.name == name);
        let mut overlay = Self {
            files: ours()
                .map(|file| *named(file.name).unwrap_or(file))
                .collect(),
            replaced: Vec::new(),
            added: Vec::new(),
            unknown: Vec::new(),
        };
        for file in own {
            if ours().any(|one| one.name == file.name) {
                overlay.replaced.push(file.name);
            } else if list_of(file.name).is_some() || file.name == code_map::FILE {
                overlay.files.push(*file);
                overlay.added.push(file.name);
            } else {
                overlay.unknown.push(Fault {
                    file: file.name.to_owned(),
                    line: 0,
                    what: "no table has this name, so the file would not be read".to_owned(),
                });
            }
        }
        overlay
    }

    /// Reads and checks the tables as they now are.
    ///
    /// # Errors
    /// Every fault of every row, and every file that no table asks for.
    pub fn read(&self) -> Result<Catalogue, Vec<Fault>> {
        let mut faults = self.unknown.clone();
        faults.extend(self.unused());
        match Catalogue::read(&self.files) {
            Ok(catalogue) if faults.is_empty() => return Ok(self.marked(catalogue)),
            Ok(_) => {}
            Err(found) => faults.extend(found),
        }
        faults.sort();
        Err(faults)
    }

    /// Marks the rows that are not ours, and names the files that hold them.
    fn marked(&self, mut catalogue: Catalogue) -> Catalogue {
        let Ok(ours) = Catalogue::embedded() else {
            return catalogue;
        };
        for (key, row) in &mut catalogue.measures {
            if ours.measures.get(key) != Some(row) {
                row.origin = Origin::Operator;
            }
        }
        for row in &mut catalogue.codes {
            let same = ours.codes_of(&row.thing).any(|one| {
                (one.relation, &one.system, &one.code, &one.display)
                    == (row.relation, &row.system, &row.code, &row.display)
            });
            row.origin = if same { Origin::Ours } else { Origin::Operator };
        }
        catalogue.own_files = self.own_files();
        catalogue
    }

    /// Files that say something else than ours, with the hash of each.
    fn own_files(&self) -> BTreeMap<String, String> {
        let ours = |file: &TableFile<'_>| {
            let mut files = embedded::FILES.iter().chain([&embedded::SOURCES]);
            files.any(|one| one.name == file.name && one.text == file.text)
        };
        let own = self.files.iter().filter(|file| !ours(file));
        own.map(|file| (file.name.to_owned(), sha256_hex(file.text.as_bytes())))
            .collect()
    }

    /// An added word list that no measure names is most likely a misspelt one of ours.
    fn unused(&self) -> Vec<Fault> {
        let used = self.scales();
        let unused = self
            .added
            .iter()
            .filter(|name| list_of(name).is_some_and(|list| !used.contains(list)));
        unused
            .map(|name| Fault {
                file: (*name).to_owned(),
                line: 0,
                what: "no table of ours has this name, and no measure names it as its scale"
                    .to_owned(),
            })
            .collect()
    }

    /// The scales that measures name, as far as their table reads.
    fn scales(&self) -> BTreeSet<String> {
        let table = self.files.iter().find(|file| file.name == "measures.csv");
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_reader(table.map_or("", |table| table.text).as_bytes());
        let headers = reader.headers().ok();
        let place = headers.and_then(|names| names.iter().position(|name| name == "scale"));
        let rows = reader.records().filter_map(Result::ok);
        rows.filter_map(|row| row.get(place?).map(str::to_owned))
            .collect()
    }
}

/// The word list of a file name.
fn list_of(name: &str) -> Option<&str> {
    name.strip_prefix("scales/")?.strip_suffix(".csv")
}

#[cfg(test)]
mod tests {
    use super::Overlay;
    use crate::tables::catalogue::{Catalogue, TableFile, embedded};

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

    #[test]
    fn nothing_laid_over_ours_is_ours() {
        let catalogue = Overlay::new(&[]).read().expect("no fault");

        assert_eq!(
            catalogue.sha256,
            Catalogue::embedded().expect("ours").sha256
        );
    }

    #[test]
    fn a_replaced_row_is_read_and_changes_the_hash() {
        let text = ours("measures.csv").replace(",-90,50,passive", ",-80,45,passive");
        let own = [TableFile {
            name: "measures.csv",
            text: &text,
        }];

        let overlay = Overlay::new(&own);
        let catalogue = overlay.read().expect("no fault");

        let measure = &catalogue.measures["range.passive.ankle.dorsiflexion"];
        assert_eq!(measure.ask_above.expect("a bound").to_string(), "45");
        assert_eq!(overlay.replaced, ["measures.csv"]);
        assert_ne!(
            catalogue.sha256,
            Catalogue::embedded().expect("ours").sha256
        );
    }

    #[test]
    fn a_bad_check_digit_is_told_at_its_line() {
        let text = ours("codes.csv").replace(
            "pain.intensity.calf,wider,http://loinc.org,72514-3",
            "pain.intensity.calf,wider,http://loinc.org,72514-4",
        );
        let at = line(&text, "pain.intensity.calf,");

        assert_eq!(
            told("codes.csv", &text),
            [format!(
                "profiles/codes.csv:{at}: pain.intensity.calf: 72514-4 fails its check digit"
            )]
        );
    }

    #[test]
    fn a_row_without_source_or_with_an_unknown_one_is_told() {
        let text = ours("units.csv")
            .replace("deg,angle,degree,ucum,", "deg,angle,degree,,")
            .replace("degree per second,ucum,", "degree per second,hearsay,")
            .replace("{score},number,score,ucum,", "{score},number,score,none,");
        let at = |unit: &str| line(&text, unit);

        assert_eq!(
            told("units.csv", &text),
            [
                format!(
                    "profiles/units.csv:{}: source is empty or padded; write none",
                    at("deg,")
                ),
                format!(
                    "profiles/units.csv:{}: source hearsay is not in SOURCES.toml",
                    at("deg/s,")
                ),
                format!(
                    "profiles/units.csv:{}: source none is not in SOURCES.toml",
                    at("{score},")
                ),
            ]
        );
    }

    #[test]
    fn a_name_that_no_table_has_is_told_and_not_ignored() {
        let list = ours("scales/presence.csv");

        assert_eq!(
            told("measure.csv", "x"),
            ["profiles/measure.csv:0: no table has this name, so the file would not be read"]
        );
        assert_eq!(
            told("scales/presense.csv", list),
            [
                "profiles/scales/presense.csv:0: no table of ours has this name, and no measure names it as its scale",
                "profiles/scales/presense.csv:2: presense: scales.csv has no row for it"
            ]
        );
    }

    #[test]
    fn two_measures_with_one_first_coding_and_unsided_site_are_refused() {
        let measure = "range.passive.ankle.";
        let text = ours("codes.csv")
            .replace(
                &format!("{measure}dorsiflexion,wider"),
                &format!("{measure}dorsiflexion,equivalent"),
            )
            .replace(
                &format!("{measure}plantarflexion,wider"),
                &format!("{measure}plantarflexion,equivalent"),
            );
        let at = line(&text, "range.passive.ankle.plantarflexion,");

        assert_eq!(
            told("codes.csv", &text),
            [format!(
                "profiles/codes.csv:{at}: {measure}plantarflexion: another measure at the same site has the same first coding"
            )]
        );
    }

    /// Source: UCUM 2.2, tables of avoirdupois mass (`[lb_av]`) and force (`[lbf_av]`): a pound is a
    /// mass, and only a pound-force is a force.
    #[test]
    fn a_unit_of_the_wrong_dimension_is_refused_for_the_unit_and_for_the_measure() {
        let told = |unit: &str, dimension: &str, of_family: &str| {
            let before = |name: &str, next: &str, row: String| {
                ours(name).replacen(&format!("\n{next}"), &format!("\n{row}\n{next}"), 1)
            };
            let row = format!("{unit},{dimension},x,ucum,x,2026-11-25");
            let units = match unit {
                "[lbf_av]" => ours("units.csv").to_owned(),
                _ => before("units.csv", "[lbf_av],", row),
            };
            let row = format!("grip,{of_family},local,invented for this test,2026-11-25");
            let dimensions = match of_family {
                "none" => ours("dimensions.csv").to_owned(),
                _ => before("dimensions.csv", "grip.force,", row),
            };
            let measures = ours("measures.csv");
            let mut lines = measures.lines();
            let amount = lines.find(|line| line.starts_with("sensation.two-point.foot,"));
            let amount = amount.expect("a measure that is an amount");
            let grip = amount.replacen("sensation.two-point.foot", "grip.hand", 1);
            let grip = grip.replacen(",mm,", &format!(",{unit},"), 1);
            let next = "\nhandling.assistance.foot,";
            let measures = measures.replacen(next, &format!("\n{grip}{next}"), 1);
            let own = [
                ("dimensions.csv", &dimensions),
                ("measures.csv", &measures),
                ("units.csv", &units),
            ];
            let own = own.map(|(name, text)| TableFile { name, text });
            let faults = Overlay::new(&own).read().err().unwrap_or_default();
            let told = faults.iter().map(ToString::to_string);
            let line = line(&measures, "grip.hand,");
            told.map(|fault| fault.replace(&format!(":{line}:"), ":LINE:"))
                .collect::<Vec<_>>()
        };

        assert_eq!(told("[lbf_av]", "force", "force"), [""; 0]);
        assert_eq!(
            told("[lb_av]", "force", "mass"),
            ["profiles/units.csv:7: [lb_av] is a mass, and not a force"]
        );
        assert_eq!(
            told("[lb_av]", "mass", "force"),
            ["profiles/measures.csv:LINE: grip.hand: [lb_av] is a mass, and it needs a force"]
        );
        assert_eq!(
            told("[lb_av]", "mass", "none"),
            [
                "profiles/measures.csv:LINE: grip.hand: it has a unit, and no family of dimensions.csv says of which dimension"
            ]
        );
    }

    /// A range is an angle, whatever its row says.
    #[test]
    fn the_dimension_of_a_kind_holds_for_each_of_its_measures() {
        let text =
            ours("measures.csv").replace("range-word,deg,-90,50", "range-word,{score},-90,50");

        let told = told("measures.csv", &text);

        assert!(!told.is_empty());
        // A row by which findings are compared goes by the unit of its measure, and is told as well.
        let compared = |fault: &String| fault.ends_with("is not the unit of its measure");
        for fault in told.into_iter().filter(|fault| !compared(fault)) {
            assert!(
                fault.ends_with("{score} is a plain number, and it needs an angle"),
                "{fault}"
            );
        }
    }

    #[test]
    fn sources_that_do_not_read_or_say_too_little_are_told() {
        let whole = embedded::SOURCES.text;
        let broken = told("SOURCES.toml", "[local]\ntitle = \n");
        assert!(
            broken[0].starts_with("profiles/SOURCES.toml:2: "),
            "{broken:?}"
        );

        let short = whole.replacen("publisher = ", "printer = ", 1);
        assert_eq!(
            told("SOURCES.toml", &short),
            ["profiles/SOURCES.toml:3: aaos-1965 does not say its publisher"]
        );
    }
}
