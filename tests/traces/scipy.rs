#![cfg(test)]
#![expect(clippy::float_arithmetic, reason = "signals are made of floats")]
//! Low-pass and derivatives against another implementation on the same data.
//!
//! Source: `golden.csv`, written by `golden.py` with `scipy.signal.sosfiltfilt` over
//! `scipy.signal.butter(2, cut_off)` and `numpy.gradient`.

use fascicle::examination::trace::filter::low_pass;
use fascicle::examination::trace::motion::derivative;
use std::collections::BTreeMap;

const GOLDEN: &str = include_str!("golden.csv");

/// The largest difference that is let pass, as a share of the largest value of the column: rounding
/// of 64-bit floats in another order, a thousand times below anything that is reported.
const BOUND: f64 = 1e-9;

type Rows = Vec<[f64; 7]>;

fn cases() -> BTreeMap<String, Rows> {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(GOLDEN.as_bytes());
    let mut cases: BTreeMap<String, Rows> = BTreeMap::new();
    for record in reader.records() {
        let record = record.expect("a row");
        let cells: Vec<f64> = record
            .iter()
            .skip(1)
            .map(|cell| cell.parse().expect("a float"))
            .collect();
        let row = cells.try_into().expect("seven cells");
        cases.entry(record[0].to_owned()).or_default().push(row);
    }
    cases
}

fn column(rows: &Rows, number: usize) -> Vec<f64> {
    rows.iter().map(|row| row[number]).collect()
}

fn furthest(made: &[f64], golden: &[f64]) -> f64 {
    assert_eq!(made.len(), golden.len());
    let largest = golden.iter().fold(0.0_f64, |most, one| most.max(one.abs()));
    let differ = made.iter().zip(golden).map(|(a, b)| (a - b).abs());
    differ.fold(0.0, f64::max) / largest
}

#[test]
fn the_low_pass_is_that_of_scipy_to_the_ends_of_the_signal() {
    let mut tried = 0;

    for (case, rows) in cases().iter().filter(|(_, rows)| rows[0][0] > 0.0) {
        let made = low_pass(&column(rows, 3), rows[0][0], rows[0][1]).expect("long enough");

        let differs = furthest(&made, &column(rows, 4));
        assert!(differs < BOUND, "case {case}: {differs:e}");
        tried += 1;
    }

    assert_eq!(tried, 7);
}

#[test]
fn velocity_and_acceleration_are_those_of_numpy() {
    for (case, rows) in cases() {
        let (times, low_passed) = (column(&rows, 2), column(&rows, 4));

        let velocity = derivative(&low_passed, &times);
        let acceleration = derivative(&velocity, &times);

        for (made, golden) in [(&velocity, 5), (&acceleration, 6)] {
            let differs = furthest(made, &column(&rows, golden));
            assert!(differs < BOUND, "case {case}: {differs:e}");
        }
    }
}

#[test]
fn a_signal_too_short_or_a_cut_off_too_high_has_no_low_pass() {
    assert!(low_pass(&[1.0; 9], 100.0, 6.0).is_none());
    assert!(low_pass(&[1.0; 10], 100.0, 6.0).is_some());
    assert!(low_pass(&[1.0; 99], 100.0, 50.0).is_none());
    assert!(low_pass(&[1.0; 99], 100.0, 0.0).is_none());
}
