#![cfg(test)]
//! Range of motion measurements: reference values and a database for comparison studies (Soucie
//! 2011, Haemophilia 17:500-507), the table of the Centers for Disease Control and Prevention.

use crate::document::catalogue;
use fascicle::base::exact::Exact;
use fascicle::tables::catalogue::comparing::{OfSex, ReferenceRow, Statistic};

const TABLE: &str = "cdc-soucie-2011";
const AGES: [(u32, u32); 4] = [(2, 8), (9, 19), (20, 44), (45, 69)];

/// Mean, lower and upper end of the 95 % confidence interval of the mean, females and males, for the
/// ages 2 to 8, 9 to 19, 20 to 44 and 45 to 69.
///
/// Source: <https://archive.cdc.gov/www_cdc_gov/ncbddd/jointrom/index.html> and public copies of the
/// table; the locator of each row says which cells were seen and which are from memory.
const CELLS: [(&str, [(&str, &str); 4]); 11] = [
    (
        "hip-extension",
        [
            ("26.2 23.9 28.5", "28.3 27.2 29.4"),
            ("20.5 18.6 22.4", "18.2 16.6 19.8"),
            ("18.1 17.0 19.2", "17.4 16.3 18.5"),
            ("16.7 15.5 17.9", "13.5 12.5 14.5"),
        ],
    ),
    (
        "hip-flexion",
        [
            ("140.8 139.2 142.4", "131.1 129.4 132.8"),
            ("134.9 133.0 136.8", "135.2 133.0 137.4"),
            ("133.8 132.5 135.1", "130.4 129.0 131.8"),
            ("130.8 129.2 132.4", "127.2 125.7 128.7"),
        ],
    ),
    (
        "knee-flexion",
        [
            ("152.6 151.2 154.0", "147.8 146.6 149.0"),
            ("142.3 140.8 143.8", "142.2 140.4 144.0"),
            ("141.9 140.9 142.9", "137.7 136.5 138.9"),
            ("137.8 136.5 139.1", "132.9 131.6 134.2"),
        ],
    ),
    (
        "knee-extension",
        [
            ("5.4 3.9 6.9", "1.6 0.9 2.3"),
            ("2.4 1.5 3.3", "1.8 0.9 2.7"),
            ("1.6 1.1 2.1", "1.0 0.6 1.4"),
            ("1.2 0.7 1.7", "0.5 0.1 0.9"),
        ],
    ),
    (
        "ankle-dorsiflexion",
        [
            ("24.8 22.5 27.1", "22.8 21.3 24.3"),
            ("17.3 15.6 19.0", "16.3 14.8 17.8"),
            ("13.8 12.9 14.7", "12.7 11.6 13.8"),
            ("11.6 10.6 12.6", "11.9 10.9 12.9"),
        ],
    ),
    (
        "ankle-plantarflexion",
        [
            ("67.1 64.8 69.4", "55.8 54.4 57.2"),
            ("57.3 54.8 59.8", "52.8 50.8 54.8"),
            ("62.1 60.6 63.6", "54.6 53.2 56.0"),
            ("56.5 55.0 58.0", "49.4 47.7 51.1"),
        ],
    ),
    (
        "shoulder-flexion",
        [
            ("178.6 176.9 180.3", "177.8 176.7 178.9"),
            ("171.8 169.8 173.8", "170.9 169.1 172.7"),
            ("172.0 170.9 173.1", "168.8 167.3 170.3"),
            ("168.1 166.7 169.5", "164.0 162.3 165.7"),
        ],
    ),
    (
        "elbow-flexion",
        [
            ("152.9 151.5 154.3", "151.4 150.8 152.0"),
            ("149.7 148.5 150.9", "148.3 147.1 149.5"),
            ("150.0 149.1 150.9", "144.6 143.6 145.6"),
            ("148.3 147.3 149.3", "143.5 142.3 144.7"),
        ],
    ),
    (
        "elbow-extension",
        [
            ("6.8 5.2 8.4", "2.2 0.9 3.5"),
            ("6.4 4.7 8.1", "5.3 3.6 7.0"),
            ("4.7 3.9 5.5", "0.8 0.1 1.5"),
            ("3.6 2.6 4.6", "-0.7 -1.5 0.1"),
        ],
    ),
    (
        "forearm-pronation",
        [
            ("84.6 82.8 86.4", "79.6 78.8 80.4"),
            ("81.2 79.6 82.8", "79.8 77.8 81.8"),
            ("82.0 81.0 83.0", "76.9 75.6 78.2"),
            ("80.8 79.7 81.9", "77.7 76.5 78.9"),
        ],
    ),
    (
        "forearm-supination",
        [
            ("93.7 91.4 96.0", "86.4 85.3 87.5"),
            ("90.0 88.0 92.0", "87.8 85.7 89.9"),
            ("90.6 89.2 92.0", "85.0 83.8 86.2"),
            ("87.2 86.0 88.4", "82.4 80.9 83.9"),
        ],
    ),
];

fn row(movement: &str, (from, to): (u32, u32), sex: OfSex) -> &'static ReferenceRow {
    let word = if sex == OfSex::Female {
        "female"
    } else {
        "male"
    };
    let key = format!("{TABLE}-{movement}-{from}-{to}-{word}");
    let mut rows = catalogue().reference_ranges.iter();
    rows.find(|row| row.key == key)
        .unwrap_or_else(|| panic!("no row {key}"))
}

#[test]
fn all_88_cells_are_those_of_the_table() {
    let mut seen = 0;
    for (movement, ages) in CELLS {
        for (age, (females, males)) in AGES.into_iter().zip(ages) {
            for (sex, cell) in [(OfSex::Female, females), (OfSex::Male, males)] {
                let row = row(movement, age, sex);
                let said = [row.mean, row.low, row.high];
                let said = said.map(|number| number.expect("a number").to_string());
                assert_eq!(said.join(" "), cell, "{}", row.key);
                assert_eq!(
                    (row.sex, row.age_from, row.age_to),
                    (sex, Some(age.0), Some(age.1))
                );
                seen += 1;
            }
        }
    }
    let rows = catalogue().reference_ranges.iter();
    assert_eq!(
        (seen, rows.filter(|row| row.table == TABLE).count()),
        (88, 88)
    );
}

/// A confidence interval of a mean is symmetric about it, as far as its digits go.
#[test]
fn all_88_cells_are_symmetric_about_their_mean() {
    let tenth = Exact::parse("0.1").expect("a decimal");
    for row in catalogue()
        .reference_ranges
        .iter()
        .filter(|row| row.table == TABLE)
    {
        let [mean, low, high] =
            [row.mean, row.low, row.high].map(|number| number.expect("a number"));
        let twice = mean.plus(mean).expect("held");
        let apart = low
            .plus(high)
            .and_then(|sum| sum.minus(twice))
            .expect("held");
        assert!(apart.magnitude() <= tenth, "{}", row.key);
    }
}

/// "95% confidence intervals" of the mean, one to three degrees wide: no range of one person.
#[test]
fn no_cell_bounds_one_person() {
    for row in catalogue()
        .reference_ranges
        .iter()
        .filter(|row| row.table == TABLE)
    {
        assert_eq!(row.statistic, Statistic::CiOfMean, "{}", row.key);
        assert_eq!(row.for_one_person(), None, "{}", row.key);
    }
}
