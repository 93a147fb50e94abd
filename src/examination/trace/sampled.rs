//! From what was recorded to samples as they are sent, and to how the limb moved.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::private::Private;
use crate::base::problem::Problems;
use crate::examination::finding::traces::Timing;
use crate::examination::intake::traces::TimeUnit;
use crate::examination::measure::traces::MeasuredTrace;
use crate::examination::trace::motion::Motion;
use crate::examination::trace::parameters::{Parameters, float};
use crate::examination::trace::rounded::exact;
use crate::examination::trace::signal::Signal;
use crate::examination::trace::traced::{Samples, Traced, row_of};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Kind;

pub(super) fn traced(
    one: &MeasuredTrace,
    catalogue: &Catalogue,
    parameters: &Parameters,
    problems: &mut Problems,
) -> Option<Traced> {
    let row = row_of(Kind::Trace, &one.like.row, catalogue)?;
    let to_seconds = match one.trace.time_unit {
        TimeUnit::Seconds => 1.0,
        TimeUnit::Milliseconds => 0.001,
    };
    let turn = if one.lengthens { 1.0 } else { -1.0 };
    let degrees: Vec<f64> = one.angles.open().iter().map(|a| turn * float(*a)).collect();
    let signal = match one.trace.timing.open() {
        _ if degrees.len() < 2 => None,
        Timing::Period(period) => Some(Signal::even(float(*period) * to_seconds, degrees)),
        Timing::Stamps(stamps) => {
            let times: Vec<f64> = stamps.iter().map(|t| float(*t) * to_seconds).collect();
            Signal::stamped(&times, degrees, parameters)
        }
    };
    let sent = signal
        .as_ref()
        .and_then(|signal| samples(one, signal, turn));
    let (Some(signal), Some(samples)) = (signal, sent) else {
        let what = "the samples are too few or too far apart to be sent".to_owned();
        let hint = "record the stretch with two samples and more, close to each other in time";
        problems.error(Code::TraceFew, &one.trace.path, what, hint);
        return None;
    };
    let motion = Motion::of(&signal, parameters);
    Some(Traced {
        source: one.clone(),
        row: row.clone(),
        samples,
        motion,
        computed: None,
    })
}

/// The samples as they are sent: as recorded where that was even, else with as many digits after
/// the point as the finest of them had.
fn samples(one: &MeasuredTrace, signal: &Signal, turn: f64) -> Option<Samples> {
    let angles = one.angles.open();
    let degrees = if signal.resampled {
        let finest = angles.iter().map(|angle| angle.decimals()).max()?;
        let digits = usize::try_from(finest).ok()?.min(6);
        let sent = signal
            .degrees
            .iter()
            .map(|angle| exact(turn * angle, digits));
        sent.collect::<Option<Vec<Exact>>>()?
    } else {
        angles.clone()
    };
    let period = match (one.trace.timing.open(), one.trace.time_unit) {
        (Timing::Period(period), TimeUnit::Milliseconds) => *period,
        (Timing::Period(period), TimeUnit::Seconds) => thousandfold(*period)?,
        // A period of whole microseconds, as the signal has it.
        (Timing::Stamps(_), _) => plain(exact(signal.period * 1000.0, 3)?)?,
    };
    let sent = Samples {
        period,
        degrees: Private::new(degrees),
        resampled: signal.resampled,
    };
    (!period.is_zero()).then_some(sent)
}

/// Seconds as milliseconds, with every digit: the point moves three places.
fn thousandfold(seconds: Exact) -> Option<Exact> {
    let written = seconds.to_string();
    let (whole, fraction) = written.split_once('.').unwrap_or((&written, ""));
    let mut digits = fraction.chars();
    let moved: String = (0..3).map(|_place| digits.next().unwrap_or('0')).collect();
    let whole = format!("{whole}{moved}");
    let whole = whole.trim_start_matches('0');
    let whole = if whole.is_empty() { "0" } else { whole };
    let rest = digits.as_str();
    let point = if rest.is_empty() { "" } else { "." };
    Exact::parse(&format!("{whole}{point}{rest}")).ok()
}

/// Without zeros at the end of its fraction.
fn plain(exact: Exact) -> Option<Exact> {
    let written = exact.to_string();
    let written = match written.split_once('.') {
        Some(_) => written.trim_end_matches('0').trim_end_matches('.'),
        None => written.as_str(),
    };
    Exact::parse(written).ok()
}

#[cfg(test)]
mod tests {
    use super::thousandfold;
    use crate::base::exact::Exact;

    #[test]
    fn seconds_become_milliseconds_with_every_digit() {
        let told = |text: &str| {
            let seconds = Exact::parse(text).expect("a decimal");
            thousandfold(seconds).map(|one| one.to_string())
        };

        for (seconds, milliseconds) in [
            ("0.01", "10"),
            ("0.0166667", "16.6667"),
            ("1", "1000"),
            ("0.0005", "0.5"),
            ("12.5", "12500"),
        ] {
            assert_eq!(told(seconds).as_deref(), Some(milliseconds));
        }
    }
}
