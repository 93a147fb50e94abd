//! Reading table files and finding every fault in them.

use crate::base::exact::Exact;
use crate::tables::catalogue::axis::Axis;
use crate::tables::catalogue::cautions::Caution;
use crate::tables::catalogue::dimension::Dimension;
use crate::tables::catalogue::fault::Fault;
use crate::tables::catalogue::parts::Landmark;
use crate::tables::catalogue::rows::{CodeRow, Measure, Scale, ScaleRow, Site};
use crate::tables::catalogue::scales::ScaleNote;
use crate::tables::catalogue::{Catalogue, TableFile, Unit, code_map, cross, sha256_hex, sources};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use std::collections::BTreeMap;

#[derive(Deserialize)]
struct UnitRow {
    unit: String,
    dimension: Dimension,
    label: String,
}

#[derive(Deserialize)]
struct CountedRow {
    unit: String,
    decimals: u32,
}

impl CountedRow {
    fn pair(self) -> (String, u32) {
        (self.unit, self.decimals)
    }
}

#[derive(Deserialize)]
struct DimensionRow {
    family: String,
    dimension: Dimension,
}

impl DimensionRow {
    fn pair(self) -> (String, Dimension) {
        (self.family, self.dimension)
    }
}

#[derive(Deserialize)]
struct EndFeelRow {
    end_feel: String,
    ending: String,
}

impl EndFeelRow {
    fn pair(self) -> (String, String) {
        (self.end_feel, self.ending)
    }
}

#[derive(Deserialize)]
struct SignRow {
    site: String,
    lengthens: Axis,
}

impl SignRow {
    fn pair(self) -> (String, Axis) {
        (self.site, self.lengthens)
    }
}

#[derive(Deserialize)]
struct ParameterRow {
    parameter: String,
    value: Exact,
}

#[derive(Deserialize)]
struct PlausibilityRow {
    check: String,
    value: Exact,
}

impl ParameterRow {
    fn pair(self) -> (String, Exact) {
        (self.parameter, self.value)
    }
}

impl PlausibilityRow {
    fn pair(self) -> (String, Exact) {
        (self.check, self.value)
    }
}

pub(super) fn read(files: &[TableFile<'_>]) -> Result<Catalogue, Vec<Fault>> {
    let mut faults = Vec::new();
    let mut reader = Reader {
        files,
        faults: &mut faults,
    };
    let measures: Vec<Measure> = reader.rows("measures.csv");
    let sites: Vec<Site> = reader.rows("sites.csv");
    let mut codes: Vec<CodeRow> = reader.rows("codes.csv");
    let units: Vec<UnitRow> = reader.rows("units.csv");
    let mut sites = by_key(sites, |row| (row.site.clone(), row));
    if let Some(file) = files.iter().find(|file| file.name == code_map::FILE) {
        code_map::read(file.text, reader.faults).lay_over(&mut codes, &mut sites);
    }
    // The rows of a file stand in the order of their whole text, which parts `a,` from `a.b,`.
    codes.sort_by(|one, other| one.thing.cmp(&other.thing));
    let catalogue = Catalogue {
        measures: by_key(measures, |row| (row.measure.clone(), row)),
        sites,
        scales: reader.scales(),
        scale_notes: reader.keyed("scales.csv", |row: ScaleNote| (row.scale.clone(), row)),
        codes,
        codes_to_confirm: reader.rows("codes_to_confirm.csv"),
        precaution_effects: reader.rows("precaution_effects.csv"),
        measurement_error: reader.rows("measurement_error.csv"),
        reference_ranges: reader.rows("reference_ranges.csv"),
        notation_orders: reader.rows("notation_orders.csv"),
        units: units.into_iter().map(unit).collect(),
        end_feel_endings: reader.keyed("end_feel_endings.csv", EndFeelRow::pair),
        dimensions: reader.keyed("dimensions.csv", DimensionRow::pair),
        stretch_signs: reader.keyed("stretch_signs.csv", SignRow::pair),
        plausibility: reader.keyed("plausibility.csv", PlausibilityRow::pair),
        counted_units: reader.keyed("counted_units.csv", CountedRow::pair),
        cautions: reader.keyed("cautions.csv", |row: Caution| (row.caution.clone(), row)),
        caution_signs: reader.rows("caution_signs.csv"),
        unit_choices: reader.rows("unit_choices.csv"),
        scale_versions: reader.rows("scale_versions.csv"),
        parts: reader.rows("parts.csv"),
        landmarks: reader.keyed("landmarks.csv", |row: Landmark| (row.measure.clone(), row)),
        grade_amounts: reader.rows("grade_amounts.csv"),
        trace_cut_offs: reader.rows("trace_cut_offs.csv"),
        trace_parameters: reader.keyed("trace_parameters.csv", ParameterRow::pair),
        reference_tables: Vec::new(),
        sources: sources::known(files),
        table_sha256: hashes(files),
        own_files: BTreeMap::new(),
        sha256: digest(files),
    };
    faults.extend(cross::faults(&catalogue, files));
    faults.extend(sources::faults(files));
    faults.sort();
    if faults.is_empty() {
        Ok(catalogue)
    } else {
        Err(faults)
    }
}

fn unit(row: UnitRow) -> (String, Unit) {
    let unit = Unit {
        label: row.label,
        dimension: row.dimension,
    };
    (row.unit, unit)
}

fn hashes(files: &[TableFile<'_>]) -> BTreeMap<String, String> {
    let hash = |file: &TableFile<'_>| sha256_hex(file.text.as_bytes());
    let files = files.iter();
    files
        .map(|file| (file.name.to_owned(), hash(file)))
        .collect()
}

fn by_key<T>(rows: Vec<T>, entry: fn(T) -> (String, T)) -> BTreeMap<String, T> {
    rows.into_iter().map(entry).collect()
}

fn digest(files: &[TableFile<'_>]) -> String {
    let tables = files.iter().filter(|file| file.name != sources::FILE);
    let ordered: BTreeMap<&str, &str> = tables.map(|file| (file.name, file.text)).collect();
    let joined = ordered
        .into_iter()
        .fold(String::new(), |mut joined, (name, text)| {
            joined.extend([name, " ", &text.len().to_string(), " ", text, "\n"]);
            joined
        });
    sha256_hex(joined.as_bytes())
}

struct Reader<'a> {
    files: &'a [TableFile<'a>],
    faults: &'a mut Vec<Fault>,
}

impl Reader<'_> {
    fn rows<T: DeserializeOwned>(&mut self, name: &str) -> Vec<T> {
        let Some(file) = self.files.iter().find(|file| file.name == name) else {
            self.fault(name, 0, "the table is missing".to_owned());
            return Vec::new();
        };
        self.read_rows(name, file.text)
    }

    /// The rows of a table by their key.
    fn keyed<T: DeserializeOwned, V>(
        &mut self,
        name: &str,
        pair: impl Fn(T) -> (String, V),
    ) -> BTreeMap<String, V> {
        self.rows(name).into_iter().map(pair).collect()
    }

    fn scales(&mut self) -> BTreeMap<String, Scale> {
        let mut scales = BTreeMap::new();
        for file in self.files {
            let Some(name) = file
                .name
                .strip_prefix("scales/")
                .and_then(|n| n.strip_suffix(".csv"))
            else {
                continue;
            };
            let purpose = file.text.lines().next().unwrap_or_default();
            let purpose = purpose.trim_start_matches('#').trim().to_owned();
            let rows: Vec<ScaleRow> = self.read_rows(file.name, file.text);
            let scale = Scale {
                name: name.to_owned(),
                purpose,
                rows,
            };
            scales.insert(name.to_owned(), scale);
        }
        scales
    }

    fn read_rows<T: DeserializeOwned>(&mut self, name: &str, text: &str) -> Vec<T> {
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_reader(text.as_bytes());
        let headers = match reader.headers() {
            Ok(headers) => headers.clone(),
            Err(cause) => {
                self.fault(name, 0, cause.to_string());
                return Vec::new();
            }
        };
        let mut rows = Vec::new();
        let mut before: Option<String> = None;
        for record in reader.records() {
            let record = match record {
                Ok(record) => record,
                Err(cause) => {
                    let line = cause.position().map_or(0, csv::Position::line);
                    self.fault(name, line, cause.to_string());
                    continue;
                }
            };
            let line = record.position().map_or(0, csv::Position::line);
            self.check_cells(name, line, &headers, &record);
            self.check_order(name, line, &record, &mut before);
            match record.deserialize(Some(&headers)) {
                Ok(row) => rows.push(row),
                Err(cause) => self.fault(name, line, cause.to_string()),
            }
        }
        rows
    }

    fn check_cells(
        &mut self,
        name: &str,
        line: u64,
        headers: &csv::StringRecord,
        row: &csv::StringRecord,
    ) {
        for (column, cell) in headers.iter().zip(row.iter()) {
            if cell.is_empty() || cell.trim() != cell {
                self.fault(
                    name,
                    line,
                    format!("{column} is empty or padded; write none"),
                );
            }
            if column == "checked_on" && cell.parse::<chrono::NaiveDate>().is_err() {
                self.fault(name, line, format!("checked_on {cell} is no date"));
            }
        }
        for wanted in ["source", "locator", "checked_on"] {
            if !headers.iter().any(|column| column == wanted) {
                self.fault(name, line, format!("the column {wanted} is missing"));
            }
        }
    }

    fn check_order(
        &mut self,
        name: &str,
        line: u64,
        row: &csv::StringRecord,
        before: &mut Option<String>,
    ) {
        // These name one thing in several rows; their whole row is the key.
        let key = match name {
            "caution_signs.csv"
            | "codes.csv"
            | "grade_amounts.csv"
            | "parts.csv"
            | "precaution_effects.csv"
            | "scale_versions.csv"
            | "unit_choices.csv" => row.iter().collect::<Vec<_>>().join(","),
            _ => match row.get(1) {
                // An ordinal scale stands in the order of its ranks.
                Some(rank) if name.starts_with("scales/") && rank != "none" => {
                    format!("{rank:0>4}")
                }
                Some(_) | None => row.get(0).unwrap_or_default().to_owned(),
            },
        };
        if before.as_ref().is_some_and(|before| *before >= key) {
            self.fault(name, line, format!("{key} is out of order or stands twice"));
        }
        *before = Some(key);
    }

    fn fault(&mut self, file: &str, line: u64, what: String) {
        self.faults.push(Fault {
            file: file.to_owned(),
            line,
            what,
        });
    }
}

#[cfg(test)]
mod tests {
    use super::Catalogue;
    use crate::tables::catalogue::{TableFile, embedded::FILES};

    #[test]
    fn the_embedded_tables_have_no_fault() {
        let faults = Catalogue::embedded().err().unwrap_or_default();

        assert!(faults.is_empty(), "{faults:#?}");
    }

    #[test]
    fn faults_of_a_damaged_table_are_all_told_with_their_lines() {
        let damaged: Vec<TableFile<'_>> = FILES
            .iter()
            .map(|file| match file.name {
                "units.csv" => TableFile {
                    name: "units.csv",
                    text: "unit,dimension,label,source,locator,checked_on\n\
                           degrees,angle,degree,ucum,x,2026-11-25\n\
                           deg/s,angular-velocity,,ucum,x,yesterday\n",
                },
                _ => *file,
            })
            .collect();

        let faults = Catalogue::read(&damaged).err().unwrap_or_default();

        let told: Vec<String> = faults.iter().map(ToString::to_string).collect();
        let measures = FILES.iter().find(|file| file.name == "measures.csv");
        let mut rows = measures.expect("a table").text.lines();
        let of_pain = rows.position(|row| row.starts_with("pain.intensity.calf,"));
        let line = of_pain.expect("a row") + 1;
        for wanted in [
            "profiles/units.csv:3: deg/s is out of order or stands twice",
            "profiles/units.csv:3: label is empty or padded; write none",
            "profiles/units.csv:3: checked_on yesterday is no date",
            "profiles/units.csv:2: degrees is no UCUM code",
            &format!(
                "profiles/measures.csv:{line}: pain.intensity.calf: its unit is not in units.csv"
            ),
        ] {
            assert!(
                told.iter().any(|fault| fault == wanted),
                "{wanted} not in {told:#?}"
            );
        }
    }
}
