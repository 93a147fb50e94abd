#![cfg(test)]
#![expect(clippy::float_arithmetic, reason = "signals are made of floats")]
//! Laws that hold for any trace.

use crate::synthetic::{Shape, Stretch};
use crate::truth::{parameters, slow};
use fascicle::examination::trace::motion::Motion;
use fascicle::examination::trace::signal::Signal;
use fascicle::examination::trace::verdict::{Verdict, verdict};
use fastrand::Rng;
use proptest::prelude::*;

fn shape() -> impl Strategy<Value = Shape> {
    prop_oneof![
        Just(Shape::Smooth),
        Just(Shape::Catch),
        Just(Shape::Release),
        Just(Shape::Clonus)
    ]
}

fn stretch() -> impl Strategy<Value = Stretch> {
    let numbers = (60.0..400.0, 0.3..0.8, 0.0..0.5, 50.0..1000.0);
    (shape(), numbers).prop_map(|(shape, (speed, at, noise, rate))| Stretch {
        shape,
        excursion: 80.0,
        speed,
        at,
        noise,
        rate,
    })
}

fn told(times: &[f64], degrees: Vec<f64>) -> Option<Verdict> {
    let signal = Signal::stamped(times, degrees, parameters())?;
    Some(match Motion::of(&signal, parameters()) {
        Ok(motion) => verdict(&motion, Some(&slow()), parameters()),
        Err(reasons) => Verdict::undetermined(reasons),
    })
}

fn times(number: usize, period: f64, from: f64) -> Vec<f64> {
    (0..number)
        .map(|n| from + f64::from(u32::try_from(n).expect("few")) * period)
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    #[test]
    fn nothing_depends_on_when_a_trace_began(stretch in stretch(), seed in 0_u64..1000, from in -1000.0..1000.0) {
        let samples = stretch.samples(&mut Rng::with_seed(seed));
        let number = samples.len();
        let period = (1e3 / stretch.rate).round().max(1.0) / 1e3;

        let now = told(&times(number, period, 0.0), samples.clone());
        let later = told(&times(number, period, from), samples);

        let (now, later) = (now.expect("told"), later.expect("told"));
        prop_assert_eq!(now.outcome, later.outcome);
        prop_assert_eq!(&now.reasons, &later.reasons);
        prop_assert_eq!(now.beats, later.beats);
        let angle = |one: &Verdict| one.stop.map(|stop| stop.at.degrees);
        prop_assert!(angle(&now).zip(angle(&later)).is_none_or(|(a, b)| (a - b).abs() < 1e-6));
    }

    #[test]
    fn an_offset_of_the_angle_moves_the_catch_and_nothing_else(stretch in stretch(), seed in 0_u64..1000, offset in -90.0..90.0) {
        let samples = stretch.samples(&mut Rng::with_seed(seed));
        let moved: Vec<f64> = samples.iter().map(|angle| angle + offset).collect();
        let of = |samples| Motion::of(&Signal::even(1.0 / stretch.rate, samples), parameters());

        let (here, there) = (of(samples), of(moved));

        match (here, there) {
            (Ok(here), Ok(there)) => {
                prop_assert!((here.peak_velocity - there.peak_velocity).abs() < 1e-6);
                let apart: f64 = here.peak.degrees + offset - there.peak.degrees;
                prop_assert!(apart.abs() < 1e-6);
                let told = |motion: &Motion| verdict(motion, None, parameters()).reasons;
                prop_assert_eq!(told(&here), told(&there));
            }
            (here, there) => prop_assert_eq!(here.err(), there.err()),
        }
    }

    #[test]
    fn any_samples_whatever_come_to_an_answer(
        samples in prop::collection::vec(
            prop_oneof![-1e3..1e3, Just(0.0), Just(1e300), Just(-1e300), Just(f64::NAN), Just(f64::INFINITY)],
            0..200,
        ),
        steps in prop::collection::vec(prop_oneof![1e-9..1.0, Just(1e-300), Just(1e300)], 200),
    ) {
        let mut time = 0.0;
        let times: Vec<f64> = steps
            .iter()
            .take(samples.len())
            .map(|step| {
                time += step;
                time
            })
            .collect();

        if let Some(told) = told(&times, samples) {
            let found = told.stop.is_some();
            prop_assert!(found || !told.reasons.is_empty());
        }
    }
}
