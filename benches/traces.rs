//! What the computation over stretch traces is worth on synthetic ones, and how fast it is.
//!
//! `cargo bench --bench traces` prints, for 10,240 seeded stretches, bias, 95 % error, and rates of false
//! and missed catches of each condition, as computed and after the bias correction, which stays out of
//! records; then the time an hour at 1000 samples a second takes beside reading its file.
#![expect(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    clippy::disallowed_methods,
    clippy::expect_used,
    clippy::float_arithmetic,
    clippy::float_cmp,
    clippy::print_stdout,
    reason = "a bench counts in floats, reads the time and files, prints, and stops where it cannot go on"
)]

#[path = "../tests/support/traces.rs"]
mod synthetic;
#[path = "../tests/support/trials.rs"]
mod trials;

use fascicle::base::exact::Exact;
use fascicle::base::problem::Problems;
use fascicle::examination::intake::trace_csv;
use fascicle::examination::trace::motion::Motion;
use fascicle::examination::trace::parameters::Parameters;
use fascicle::examination::trace::signal::Signal;
use fascicle::tables::catalogue::Catalogue;
use fastrand::Rng;
use std::fmt::Write as _;
use std::hint::black_box;
use std::time::{Duration, Instant};
use synthetic::{Shape, Stretch};
use trials::{Came, Condition, deviation, mean, ninety_five, trial};

const SPEEDS: [f64; 4] = [100.0, 200.0, 300.0, 400.0];
const RATES: [f64; 4] = [50.0, 100.0, 200.0, 1000.0];
const NOISES: [f64; 4] = [0.0, 0.1, 0.3, 0.5];
const SHAPES: [Shape; 4] = [Shape::Smooth, Shape::Catch, Shape::Release, Shape::Clonus];
const EACH: usize = 40;

fn main() {
    let catalogue = Catalogue::embedded().expect("sound tables");
    let parameters = Parameters::of(&catalogue).expect("every parameter");
    println!("synthetic stretches; no threshold was validated on patients");
    println!(
        "bias correction (benchmark only): angle less {} s of peak velocity\n",
        parameters.lateness
    );
    println!(
        "shape    deg/s    Hz  noise    n catch none n/d  bias    sd  95% | corrected bias  95% | told 2sd"
    );
    let mut rng = Rng::with_seed(20_261_125);
    let mut all: Vec<(Condition, Came)> = Vec::new();
    for shape in SHAPES {
        for speed in SPEEDS {
            for rate in RATES {
                for noise in NOISES {
                    let condition = Condition {
                        shape,
                        speed,
                        noise,
                        rate,
                    };
                    let came = trial(&condition, EACH, &parameters, &mut rng);
                    println!("{}", line(&condition, &came));
                    all.push((condition, came));
                }
            }
        }
    }
    summary(&all);
    healthy(&parameters);
    hour(&parameters);
}

fn line(condition: &Condition, came: &Came) -> String {
    format!(
        "{:8} {:5} {:5} {:6} {}",
        format!("{:?}", condition.shape),
        condition.speed,
        condition.rate,
        condition.noise,
        figures(came)
    )
}

fn figures(came: &Came) -> String {
    format!(
        "{:5} {:5} {:4} {:3} {:6.2} {:5.2} {:5.2} | {:6.2} {:5.2} | {:5.2}",
        came.number,
        came.catches,
        came.none,
        came.not_determinable,
        mean(&came.errors),
        deviation(&came.errors),
        ninety_five(&came.errors),
        mean(&came.corrected),
        ninety_five(&came.corrected),
        mean(&came.told),
    )
}

/// Everything that came of the conditions that fit.
fn of(all: &[(Condition, Came)], fits: impl Fn(&Condition) -> bool) -> Came {
    let fitting = all.iter().filter(|(condition, _)| fits(condition));
    fitting.fold(Came::default(), |sum, (_, came)| sum.and(came))
}

fn caught(condition: &Condition) -> bool {
    condition.shape != Shape::Smooth
}

fn summary(all: &[(Condition, Came)]) {
    println!("\nall stretches with a catch, by speed, by sampling rate, by noise");
    for speed in SPEEDS {
        let fits = of(all, |one| caught(one) && one.speed == speed);
        println!("{speed:5} deg/s {}", figures(&fits));
    }
    for rate in RATES {
        let fits = of(all, |one| caught(one) && one.rate == rate);
        println!("{rate:5} Hz    {}", figures(&fits));
    }
    for noise in NOISES {
        let fits = of(all, |one| caught(one) && one.noise == noise);
        println!("{noise:5} deg   {}", figures(&fits));
    }
    let every = of(all, caught);
    println!("all         {}\n", figures(&every));
    shares(all, &every);
    println!();
    aim("95 % within 4 degrees as computed", &every.errors, 4.0);
    aim(
        "95 % within 2 degrees after the correction",
        &every.corrected,
        2.0,
    );
    for speed in SPEEDS {
        let fits = of(all, |one| caught(one) && one.speed == speed);
        aim(
            &format!("  as computed at {speed} deg/s"),
            &fits.errors,
            4.0,
        );
        aim(
            &format!("  corrected at {speed} deg/s"),
            &fits.corrected,
            2.0,
        );
    }
}

fn shares(all: &[(Condition, Came)], every: &Came) {
    let shape = |shape| of(all, move |one| one.shape == shape);
    let smooth = shape(Shape::Smooth);
    let (plain, release) = (shape(Shape::Catch), shape(Shape::Release));
    let clonus = shape(Shape::Clonus);
    for (what, part, whole) in [
        ("false catches", smooth.catches, smooth.number),
        (
            "healthy, not determinable",
            smooth.not_determinable,
            smooth.number,
        ),
        ("missed catches", every.none, every.number),
        (
            "with a catch, not determinable",
            every.not_determinable,
            every.number,
        ),
        (
            "release told, of caught that gave way",
            release.released,
            release.catches,
        ),
        (
            "release told, of caught that did not",
            plain.released,
            plain.catches,
        ),
        (
            "clonus told, of caught with clonus",
            clonus.clonus,
            clonus.catches,
        ),
        (
            "clonus told, of caught without",
            plain.clonus + release.clonus,
            plain.catches + release.catches,
        ),
    ] {
        println!(
            "{what}: {part} of {whole} ({:.2} %)",
            100.0 * part as f64 / whole as f64
        );
    }
}

fn aim(what: &str, errors: &[f64], most: f64) {
    let seen = ninety_five(errors);
    let met = if seen <= most { "met" } else { "MISSED" };
    println!("aim {met}: {what}: {seen:.2}");
}

/// 1,008 healthy stretches at 0.3 degrees of noise, over every speed and sampling rate.
fn healthy(parameters: &Parameters) {
    let mut rng = Rng::with_seed(7);
    let mut came = Came::default();
    for speed in SPEEDS {
        for rate in RATES {
            let condition = Condition {
                shape: Shape::Smooth,
                speed,
                noise: 0.3,
                rate,
            };
            came = came.and(&trial(&condition, 63, parameters, &mut rng));
        }
    }
    let met = if came.catches == 0 { "met" } else { "MISSED" };
    println!(
        "aim {met}: no false catch in 1,000 healthy traces at 0.3 degrees: {} of {}, {} not determinable",
        came.catches, came.number, came.not_determinable
    );
}

/// An hour at 1000 samples a second, as CSV.
fn recording() -> String {
    let stretch = Stretch {
        shape: Shape::Catch,
        excursion: 80.0,
        speed: 250.0,
        at: 0.5,
        noise: 0.3,
        rate: 1000.0,
    };
    let pattern = stretch.samples(&mut Rng::with_seed(1));
    let rest = std::iter::repeat_n(0.0, 10_000);
    let samples = pattern.iter().copied().chain(rest).cycle().take(3_600_000);
    let mut text = String::from("time,angle\n");
    for (sample, angle) in samples.enumerate() {
        writeln!(text, "{}.{:03},{angle:.2}", sample / 1000, sample % 1000).expect("a string");
    }
    text
}

/// What a step makes, and how long it took.
fn timed<T>(step: impl FnOnce() -> T) -> (T, Duration) {
    let begin = Instant::now();
    let made = black_box(step());
    (made, begin.elapsed())
}

fn hour(parameters: &Parameters) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("hour.csv");
    std::fs::write(&file, recording()).expect("written");

    let (read, reading) = timed(|| std::fs::read_to_string(&file).expect("read"));
    let (columns, parsing) = timed(|| {
        let mut problems = Problems::new();
        trace_csv::columns(&read, "", usize::MAX, &mut problems).expect("sound")
    });
    let floats = |list: &[Exact]| -> Vec<f64> {
        let numbers = list.iter().map(|one| one.to_string().parse::<f64>());
        numbers.map(|one| one.expect("a float")).collect()
    };
    let ((times, angles), converting) = timed(|| (floats(&columns.times), floats(&columns.angles)));
    let (_motion, computing) = timed(|| {
        let signal = Signal::stamped(&times, angles, parameters).expect("a signal");
        Motion::of(&signal, parameters).expect("it moved")
    });
    println!(
        "\nan hour at 1000 samples a second, {} MB of CSV, one core",
        read.len() / 1_000_000
    );
    println!("reading the file                       {reading:>10.1?}");
    let whole = parsing + converting + computing;
    for (what, took) in [
        ("CSV to exact decimals, checked", parsing),
        ("exact decimals to floats", converting),
        ("low-pass, derivatives, landmarks", computing),
        ("all three", whole),
    ] {
        let ratio = took.as_secs_f64() / reading.as_secs_f64();
        println!("{what:<38} {took:>10.1?}  {ratio:.1} times the reading");
    }
    println!(
        "seconds of trace a second of one core: {:.0}",
        3600.0 / whole.as_secs_f64()
    );
}
