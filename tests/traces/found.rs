#![cfg(test)]
//! How often the truth is found, on a smaller number of the stretches of `cargo bench --bench traces`.

use crate::synthetic::Shape;
use crate::trials::{Came, Condition, deviation, mean, ninety_five, trial};
use crate::truth::parameters;
use fastrand::Rng;

fn came(shape: Shape, speeds: &[f64], rates: &[f64], each: usize) -> Came {
    let mut rng = Rng::with_seed(5);
    let mut came = Came::default();
    for speed in speeds.iter().copied() {
        for rate in rates.iter().copied() {
            let condition = Condition {
                shape,
                speed,
                noise: 0.3,
                rate,
            };
            came = came.and(&trial(&condition, each, parameters(), &mut rng));
        }
    }
    came
}

#[test]
fn a_healthy_stretch_has_no_catch_at_any_speed_and_sampling() {
    let came = came(
        Shape::Smooth,
        &[100.0, 200.0, 300.0, 400.0],
        &[50.0, 100.0, 200.0],
        85,
    );

    assert!(came.number >= 1000);
    assert_eq!(came.catches, 0);
    assert!(came.none * 10 > came.number * 9, "{came:?}");
}

#[test]
fn a_catch_is_found_within_the_error_that_is_told() {
    let usual = came(Shape::Catch, &[100.0, 200.0], &[100.0, 200.0], 40);
    let every = came(
        Shape::Catch,
        &[100.0, 200.0, 300.0, 400.0],
        &[100.0, 200.0],
        20,
    );

    // What is not found is said to be not determinable, not to be none.
    assert_eq!((usual.none, every.none), (0, 0));
    assert!(usual.catches * 10 >= usual.number * 9, "{}", usual.catches);
    assert!(
        ninety_five(&usual.errors) < 4.0,
        "{}",
        ninety_five(&usual.errors)
    );
    assert!(
        ninety_five(&every.corrected) < 2.0,
        "{}",
        ninety_five(&every.corrected)
    );
    assert!(mean(&every.errors) > 0.0, "it is late, never early");
    assert!(
        deviation(&every.corrected) < 1.0,
        "{}",
        deviation(&every.corrected)
    );
}

#[test]
fn what_gives_way_and_what_shakes_is_told_apart_from_what_holds() {
    let of = |shape| came(shape, &[200.0, 300.0], &[100.0, 200.0], 15);

    let (held, release, clonus) = (of(Shape::Catch), of(Shape::Release), of(Shape::Clonus));

    assert_eq!((held.released, held.clonus), (0, 0));
    assert!(release.released * 10 >= release.catches * 9, "{release:?}");
    assert!(clonus.clonus * 10 >= clonus.catches * 9, "{clonus:?}");
    assert_eq!(release.clonus, 0);
}
