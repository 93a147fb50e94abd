#![cfg(test)]
#![expect(clippy::float_arithmetic, reason = "signals are made of floats")]
//! Stretches of which the truth is known from algebra.

use crate::synthetic::{Shape, Stretch, least_jerk};
use fascicle::examination::trace::dependence::line;
use fascicle::examination::trace::motion::{Motion, derivative};
use fascicle::examination::trace::parameters::Parameters;
use fascicle::examination::trace::signal::Signal;
use fascicle::examination::trace::verdict::{sharpest, verdict};
use fascicle::examination::trace::{Outcome, Reason};
use fascicle::tables::catalogue::Catalogue;
use fastrand::Rng;
use std::sync::LazyLock;

pub(crate) fn parameters() -> &'static Parameters {
    static PARAMETERS: LazyLock<Parameters> = LazyLock::new(|| {
        let catalogue = Catalogue::embedded().expect("sound tables");
        Parameters::of(&catalogue).expect("every parameter")
    });
    &PARAMETERS
}

pub(crate) fn motion(stretch: &Stretch, seed: u64) -> Motion {
    let samples = stretch.samples(&mut Rng::with_seed(seed));
    let signal = Signal::even(1.0 / stretch.rate, samples);
    Motion::of(&signal, parameters()).unwrap_or_else(|reasons| panic!("{reasons:?}"))
}

pub(crate) const fn stretch(shape: Shape, speed: f64, at: f64, noise: f64) -> Stretch {
    Stretch {
        shape,
        excursion: 80.0,
        speed,
        at,
        noise,
        rate: 200.0,
    }
}

pub(crate) fn slow() -> Motion {
    motion(&stretch(Shape::Smooth, 20.0, 1.0, 0.0), 0)
}

/// Source: algebra over x(t) = A (10 u^3 - 15 u^4 + 6 u^5): the peak velocity is 1.875 A/T at half
/// time; the deceleration is largest at u = (3 + sqrt 3)/6, which is 93.30 % of the excursion, and is
/// (10/sqrt 3) A/T^2, so the sharpness is (10/sqrt 3)/1.875^2 = 1.6422, whatever A and T.
#[test]
fn a_movement_of_least_jerk_has_the_velocity_place_and_sharpness_of_its_algebra() {
    for (excursion, duration) in [(80.0, 0.6), (40.0, 1.2), (120.0, 0.3)] {
        let step = 1e-5;
        let times: Vec<f64> = (0..130_000)
            .map(|n| f64::from(n) * step)
            .take_while(|t| *t <= duration)
            .collect();
        let angles: Vec<f64> = times
            .iter()
            .map(|t| least_jerk(excursion, duration, *t))
            .collect();

        let velocity = derivative(&angles, &times);
        let acceleration = derivative(&velocity, &times);

        let peak = velocity.iter().copied().fold(0.0, f64::max);
        let (at, lowest) = acceleration
            .iter()
            .enumerate()
            .min_by(|a, b| a.1.total_cmp(b.1))
            .expect("samples");
        let sharpness = -lowest * excursion / (peak * peak);
        assert!(
            (peak - 1.875 * excursion / duration).abs() < 1e-6 * peak,
            "{peak}"
        );
        assert!(
            (angles[at] / excursion - 0.9330).abs() < 1e-4,
            "{}",
            angles[at]
        );
        assert!((times[at] / duration - 0.788_675).abs() < 1e-3);
        assert!((sharpness - 1.6422).abs() < 1e-3, "{sharpness}");
    }
}

#[test]
fn the_landmarks_of_a_smooth_stretch_are_those_of_its_algebra() {
    let moved = motion(&stretch(Shape::Smooth, 250.0, 1.0, 0.0), 0);

    let stop = sharpest(&moved, parameters()).expect("a stop");

    // The low-pass takes a few parts in a hundred of what is fastest.
    assert!(
        (moved.peak_velocity - 250.0).abs() < 8.0,
        "{}",
        moved.peak_velocity
    );
    assert!((moved.peak.degrees - 40.0).abs() < 1.0, "{:?}", moved.peak);
    assert!(
        (moved.furthest.degrees - 80.0).abs() < 0.3,
        "{:?}",
        moved.furthest
    );
    assert!((moved.excursion - 80.0).abs() < 2.0, "{}", moved.excursion);
    assert!((stop.sharpness - 1.6422).abs() < 0.08, "{}", stop.sharpness);
    assert!(
        (stop.at.degrees - 0.9330 * 80.0).abs() < 1.5,
        "{:?}",
        stop.at
    );
    // The quintic reaches a tenth at u = 0.2466 and nine tenths at 0.7534: 0.8/0.5068 of A/T.
    assert!(
        (moved.mean_velocity - 0.8 / 0.5068 * 250.0 / 1.875).abs() < 8.0,
        "{}",
        moved.mean_velocity
    );
}

#[test]
fn a_smooth_stretch_has_no_catch_and_a_caught_one_has_its_angle() {
    for speed in [100.0, 200.0, 300.0] {
        let none = motion(&stretch(Shape::Smooth, speed, 1.0, 0.0), 0);
        let caught = motion(&stretch(Shape::Catch, speed, 0.5, 0.0), 0);

        let none = verdict(&none, Some(&slow()), parameters());
        let caught = verdict(&caught, Some(&slow()), parameters());

        assert_eq!(
            (none.outcome, none.reasons),
            (Outcome::NoCatch, vec![Reason::NotSharp])
        );
        assert_eq!(caught.outcome, Outcome::Catch, "{:?}", caught.reasons);
        assert!(!caught.release && caught.beats == 0, "{caught:?}");
        let late = caught.stop.expect("a stop").at.degrees - 40.0;
        assert!(late > 0.0 && late < 4.0, "{speed}: late by {late}");
    }
}

#[test]
fn a_release_and_clonus_are_told_after_a_catch_only() {
    let of = |shape| {
        let moved = motion(&stretch(shape, 250.0, 0.5, 0.1), 3);
        verdict(&moved, Some(&slow()), parameters())
    };

    let (smooth, caught) = (of(Shape::Smooth), of(Shape::Catch));
    let (release, clonus) = (of(Shape::Release), of(Shape::Clonus));

    assert!(!smooth.release && smooth.beats == 0);
    assert!(!caught.release && caught.beats == 0, "{caught:?}");
    assert!(release.release && release.beats == 0, "{release:?}");
    // Six beats a second for a little more than a second.
    assert!(
        (5..=7).contains(&clonus.beats) && !clonus.release,
        "{clonus:?}"
    );
}

#[test]
fn a_catch_is_told_only_beside_a_slow_stretch_that_went_further() {
    let caught = motion(&stretch(Shape::Catch, 250.0, 0.5, 0.0), 0);
    let short = motion(
        &Stretch {
            excursion: 45.0,
            ..stretch(Shape::Smooth, 20.0, 1.0, 0.0)
        },
        0,
    );
    let told = |slow: Option<&Motion>| {
        let told = verdict(&caught, slow, parameters());
        (told.outcome, told.reasons)
    };

    assert_eq!(
        told(Some(&slow())),
        (Outcome::Catch, vec![Reason::SharpAndShort])
    );
    assert_eq!(
        told(Some(&short)),
        (Outcome::NoCatch, vec![Reason::AtTheEnd])
    );
    assert_eq!(
        told(None),
        (Outcome::NotDeterminable, vec![Reason::NoSlowStretch])
    );
    assert_eq!(
        told(Some(&caught)),
        (Outcome::NotDeterminable, vec![Reason::SlowStretchCaught])
    );
}

#[test]
fn what_cannot_be_told_has_its_reason() {
    let reasons = |signal: &Signal| Motion::of(signal, parameters()).err().unwrap_or_default();
    let caught = stretch(Shape::Catch, 250.0, 0.5, 0.0);
    let samples = |one: Stretch| one.samples(&mut Rng::with_seed(1));
    let even = |one: Stretch| Signal::even(1.0 / one.rate, samples(one));

    let short = Signal::even(0.01, vec![0.0; 19]);
    let coarse = even(Stretch {
        rate: 25.0,
        ..caught
    });
    let still = even(Stretch {
        excursion: 5.0,
        speed: 30.0,
        ..caught
    });
    let back = Signal::even(0.005, samples(caught).iter().map(|angle| -angle).collect());
    let clipped: Vec<f64> = samples(stretch(Shape::Smooth, 250.0, 1.0, 0.0))
        .iter()
        .map(|angle| angle.min(40.0))
        .collect();
    let times: Vec<f64> = (0..100)
        .map(|n| f64::from(n) * 0.01 + if n > 40 { 0.2 } else { 0.0 })
        .collect();
    let gap = Signal::stamped(&times, vec![0.0; 100], parameters()).expect("a signal");

    assert_eq!(reasons(&short), [Reason::TooShort]);
    assert_eq!(reasons(&coarse), [Reason::SamplingTooCoarse]);
    assert_eq!(reasons(&still), [Reason::TooSmall]);
    assert_eq!(reasons(&back), [Reason::WrongDirection]);
    assert_eq!(reasons(&Signal::even(0.005, clipped)), [Reason::Clipped]);
    assert_eq!(reasons(&gap), [Reason::Gap]);
    let told = |one: Stretch| verdict(&motion(&one, 1), Some(&slow()), parameters()).reasons;
    let gentle = stretch(Shape::Smooth, 40.0, 1.0, 0.0);
    assert_eq!(told(gentle), [Reason::TooSlow]);
    let noisy = Stretch {
        noise: 4.0,
        ..stretch(Shape::Smooth, 250.0, 1.0, 0.0)
    };
    assert_eq!(told(noisy), [Reason::Noisy]);
    let fast = Stretch {
        rate: 50.0,
        ..stretch(Shape::Catch, 450.0, 0.4, 0.0)
    };
    assert_eq!(told(fast), [Reason::SamplingTooCoarse]);
}

/// Source: a worked line of our own, exact by construction: angle = 110 - 0.2 v.
#[test]
fn the_dependence_on_velocity_is_the_line_of_least_squares_or_none() {
    let worked = [(50.0, 100.0), (100.0, 90.0), (150.0, 80.0), (200.0, 70.0)];
    let scattered = [(100.0, 50.0), (200.0, 44.0), (300.0, 41.0)];

    let exact = line(&worked, parameters()).expect("a line");
    let fitted = line(&scattered, parameters()).expect("a line");

    assert!((exact.slope + 0.2).abs() < 1e-12 && (exact.intercept - 110.0).abs() < 1e-9);
    // By hand: slope = -900/20000, through (200, 45).
    assert!((fitted.slope + 0.045).abs() < 1e-12 && (fitted.intercept - 54.0).abs() < 1e-9);
    assert_eq!(line(&worked[..2], parameters()), Err(Reason::FewCatches));
    let alike = [(100.0, 50.0), (120.0, 44.0), (190.0, 41.0)];
    assert_eq!(line(&alike, parameters()), Err(Reason::SpeedsAlike));
}
