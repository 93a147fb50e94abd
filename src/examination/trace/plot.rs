//! A picture of one trace: angle and velocity against time, with what was found marked by shape and
//! word, as SVG 1.1.

use crate::examination::measure::side_of_neutral;
use crate::examination::measure::traces::MeasuredTrace;
use crate::examination::trace::motion::{Moment, Motion};
use crate::examination::trace::parameters::float;
use crate::examination::trace::signal::count;
use crate::examination::trace::traced::{Computed, Traced};
use quick_xml::escape::partial_escape;
use std::fmt::Write as _;

const WIDTH: f64 = 760.0;
const LEFT: f64 = 64.0;
const RIGHT: f64 = 24.0;
/// Top and height of the angle, then of the velocity.
const ANGLE: (f64, f64) = (72.0, 230.0);
const VELOCITY: (f64, f64) = (350.0, 130.0);
const HEIGHT: f64 = 530.0;
/// Most points of a line: more than twice the width cannot be seen.
const POINTS: usize = 2000;

const STYLE: &str = "text{font:13px sans-serif;fill:#1a1a1a}.small{font-size:11px}\
    .axis{stroke:#1a1a1a;stroke-width:1;fill:none}.grid{stroke:#d0d0d0;stroke-width:1}\
    .raw{stroke:#8a8a8a;stroke-width:1;fill:none}.line{stroke:#12365e;stroke-width:2;fill:none}\
    .mark{fill:#fff;stroke:#1a1a1a;stroke-width:2}.catch{stroke:#8c2d04;stroke-width:2.5;fill:none}\
    .slow{stroke:#1a1a1a;stroke-dasharray:2 4;fill:none}";

/// One panel: which values of time and of the other axis it spans, and where it lies.
#[derive(Clone, Copy)]
struct Panel {
    time: (f64, f64),
    value: (f64, f64),
    top: f64,
    height: f64,
}

impl Panel {
    fn x(&self, time: f64) -> f64 {
        let (from, to) = self.time;
        LEFT + (time - from) / (to - from) * (WIDTH - LEFT - RIGHT)
    }

    fn y(&self, value: f64) -> f64 {
        let (low, high) = self.value;
        self.top + self.height - (value - low) / (high - low) * self.height
    }
}

/// The picture of a trace. Whoever looks at it without seeing hears title and description.
pub fn svg(one: &Traced) -> String {
    let turn = if one.source.lengthens { 1.0 } else { -1.0 };
    let period = float(one.samples.period) / 1000.0;
    let raw: Vec<f64> = one
        .samples
        .degrees
        .open()
        .iter()
        .map(|a| float(*a))
        .collect();
    let time = (0.0, (count(raw.len().saturating_sub(1)) * period).max(1e-6));
    let angle = Panel {
        time,
        value: span(raw.iter().copied()),
        top: ANGLE.0,
        height: ANGLE.1,
    };
    let mut svg = String::new();
    begin(&mut svg, one);
    let movement = |name: &Option<String>| name.as_deref().unwrap_or_default().replace('-', " ");
    let (above, below) = (movement(&one.row.movement), movement(&one.row.opposite));
    let name = format!("angle, degrees of {above} (minus: of {below})");
    axes(&mut svg, &angle, &name);
    line(&mut svg, "raw", &angle, &raw, period);
    if let Ok(motion) = &one.motion {
        let turned = |values: &[f64]| -> Vec<f64> { values.iter().map(|v| turn * v).collect() };
        let speeds = turned(&motion.velocity);
        let velocity = Panel {
            value: span(speeds.iter().copied()),
            top: VELOCITY.0,
            height: VELOCITY.1,
            ..angle
        };
        axes(&mut svg, &velocity, "velocity, degrees per second");
        line(&mut svg, "line", &angle, &turned(&motion.degrees), period);
        line(&mut svg, "line", &velocity, &speeds, period);
        marks(&mut svg, &angle, one, motion, turn);
    }
    let middle = WIDTH / 2.0;
    let below = HEIGHT - 14.0;
    put(
        &mut svg,
        format_args!(
            "<text x=\"{middle:.0}\" y=\"{below:.0}\" text-anchor=\"middle\">time, seconds</text>\n</svg>\n"
        ),
    );
    svg
}

/// Writing to a string cannot fail.
fn put(svg: &mut String, words: std::fmt::Arguments<'_>) {
    let _written = svg.write_fmt(words);
}

fn begin(svg: &mut String, one: &Traced) {
    let [title, told, result] = [title(&one.source), description(one), result(one)];
    let [title, told, result] = [&title, &told, &result].map(partial_escape);
    put(
        svg,
        format_args!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH:.0} {HEIGHT:.0}\" \
         width=\"{WIDTH:.0}\" height=\"{HEIGHT:.0}\" role=\"img\" aria-labelledby=\"title told\">\n\
         <title id=\"title\">{title}</title>\n<desc id=\"told\">{told}</desc>\n\
         <style>{STYLE}</style>\n<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n\
         <text x=\"{LEFT:.0}\" y=\"24\" font-weight=\"bold\">{title}</text>\n\
         <text x=\"{LEFT:.0}\" y=\"44\" class=\"small\">{result}</text>\n"
        ),
    );
}

fn title(source: &MeasuredTrace) -> String {
    let row = &source.like.row;
    let site = row.site.as_deref().unwrap_or_default().replace('-', " ");
    let trace = &source.trace;
    let movement = row
        .movement
        .as_deref()
        .unwrap_or_default()
        .replace('-', " ");
    format!(
        "Stretch of the {} {site} toward {movement}, {}, repeat {}",
        trace.side.word(),
        trace.speed,
        trace.repeat
    )
}

/// What was computed, in one line.
fn result(one: &Traced) -> String {
    if let Err(reasons) = &one.motion {
        let words: Vec<String> = reasons
            .iter()
            .map(|reason| reason.word().replace('-', " "))
            .collect();
        return format!("not determinable: {}", words.join(", "));
    }
    let Some(computed) = &one.computed else {
        return "slow stretch or withdrawn: nothing is computed of a catch".to_owned();
    };
    let words = computed.verdict.outcome.word().replace('-', " ");
    let reasons = computed.verdict.reasons.iter();
    let reasons: Vec<String> = reasons
        .map(|reason| reason.word().replace('-', " "))
        .collect();
    let state = if one.source.trace.accepted.is_some() {
        "accepted"
    } else {
        "preliminary"
    };
    let at = computed
        .angle
        .map(|angle| format!(" at {}", side_of_neutral(angle, &computed.row)))
        .unwrap_or_default();
    format!("computed, {state}: {words}{at} ({})", reasons.join(", "))
}

fn description(one: &Traced) -> String {
    let mut told = vec![result(one)];
    if let Some(computed) = &one.computed {
        let numbers = &computed.numbers;
        let listed = [
            ("peak velocity, degrees per second", numbers.peak_velocity),
            ("excursion, degrees", numbers.excursion),
            ("onset, degrees", numbers.onset),
            ("came to rest, degrees", numbers.end),
            ("sharpness", numbers.sharpness),
            ("sharpness to exceed", numbers.gate),
        ];
        let listed = listed.into_iter();
        told.extend(listed.filter_map(|(name, value)| Some(format!("{name}: {}", value?))));
        told.extend(extras(computed));
    }
    told.push("grey: as recorded; dark: low-passed; not validated on patients".to_owned());
    told.join(". ")
}

fn extras(computed: &Computed) -> Vec<String> {
    let verdict = &computed.verdict;
    let release = verdict
        .release
        .then(|| "release after the catch".to_owned());
    let beats = (verdict.beats > 0).then(|| format!("{} beats of clonus", verdict.beats));
    release.into_iter().chain(beats).collect()
}

/// The values a panel has to show, with a margin; never nothing.
fn span(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    let low = values.clone().fold(f64::INFINITY, f64::min);
    let high = values.fold(f64::NEG_INFINITY, f64::max);
    let margin = ((high - low) * 0.08).max(1.0);
    (low - margin, high + margin)
}

/// A step of 1, 2 or 5 times a power of ten that makes about `wanted` of them.
fn step(from: f64, to: f64, wanted: f64) -> f64 {
    let rough = (to - from) / wanted;
    let power = 10_f64.powf(rough.log10().floor());
    let times = rough / power;
    let round = if times < 1.5 {
        1.0
    } else if times < 3.5 {
        2.0
    } else if times < 7.5 {
        5.0
    } else {
        10.0
    };
    round * power
}

fn ticks(from: f64, to: f64, wanted: f64) -> Vec<f64> {
    let step = step(from, to, wanted);
    let first = (from / step).ceil();
    (0..40)
        .map(|number| (first + f64::from(number)) * step)
        .take_while(|tick| *tick <= to)
        .collect()
}

fn axes(svg: &mut String, panel: &Panel, name: &str) {
    let (right, bottom) = (WIDTH - RIGHT, panel.top + panel.height);
    for tick in ticks(panel.value.0, panel.value.1, panel.height / 40.0) {
        let y = panel.y(tick);
        put(
            svg,
            format_args!(
                "<path class=\"grid\" d=\"M{LEFT:.1} {y:.1}H{right:.1}\"/><text class=\"small\" x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{tick:.0}</text>\n",
                LEFT - 6.0,
                y + 4.0
            ),
        );
    }
    for tick in ticks(panel.time.0, panel.time.1, 8.0) {
        let x = panel.x(tick);
        put(
            svg,
            format_args!(
                "<path class=\"grid\" d=\"M{x:.1} {:.1}V{bottom:.1}\"/><text class=\"small\" x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{tick:.1}</text>\n",
                panel.top,
                bottom + 15.0
            ),
        );
    }
    put(
        svg,
        format_args!(
            "<path class=\"axis\" d=\"M{LEFT:.1} {:.1}V{bottom:.1}H{right:.1}\"/><text class=\"small\" x=\"{LEFT:.1}\" y=\"{:.1}\">{name}</text>\n",
            panel.top,
            panel.top - 8.0
        ),
    );
}

fn line(svg: &mut String, class: &str, panel: &Panel, values: &[f64], period: f64) {
    let every = values.len().div_ceil(POINTS).max(1);
    put(svg, format_args!("<polyline class=\"{class}\" points=\""));
    for (number, value) in values.iter().enumerate().step_by(every) {
        put(
            svg,
            format_args!(
                "{:.1},{:.1} ",
                panel.x(count(number) * period),
                panel.y(*value)
            ),
        );
    }
    put(svg, format_args!("\"/>\n"));
}

/// Each place has a shape of its own and its name beside it.
fn marks(svg: &mut String, panel: &Panel, one: &Traced, motion: &Motion, turn: f64) {
    let at = |place: &Moment| (panel.x(place.seconds), panel.y(turn * place.degrees));
    let slow = one
        .computed
        .as_ref()
        .and_then(|computed| computed.slow.as_ref());
    if let Some(end) = slow.and_then(|(_, end)| *end) {
        let y = panel
            .y(float(end))
            .clamp(panel.top, panel.top + panel.height);
        put(
            svg,
            format_args!(
                "<path class=\"slow\" d=\"M{LEFT:.1} {y:.1}H{:.1}\"/><text class=\"small\" x=\"{:.1}\" y=\"{:.1}\">slow stretch ended at {end}</text>\n",
                WIDTH - RIGHT,
                LEFT + 6.0,
                y - 4.0
            ),
        );
    }
    let shapes = [
        ("onset", &motion.onset, "M0 -7L7 6H-7Z", (10.0, 16.0)),
        (
            "peak velocity",
            &motion.peak,
            "M0 -7L7 0L0 7L-7 0Z",
            (12.0, 5.0),
        ),
        ("at rest", &motion.stop, "M-6 -6H6V6H-6Z", (10.0, 20.0)),
    ];
    for (name, place, shape, (right, down)) in shapes {
        let (x, y) = at(place);
        put(
            svg,
            format_args!(
                "<path class=\"mark\" transform=\"translate({x:.1} {y:.1})\" d=\"{shape}\"/><text class=\"small\" x=\"{:.1}\" y=\"{:.1}\">{name}</text>\n",
                x + right,
                y + down
            ),
        );
    }
    if let Some(computed) = &one.computed {
        caught(svg, panel, computed, turn);
    }
}

/// The computed catch, crossed and drawn down to the velocity, and what followed it.
fn caught(svg: &mut String, panel: &Panel, computed: &Computed, turn: f64) {
    let stop = computed.verdict.stop.as_ref();
    if let (Some(stop), Some(angle)) = (stop, computed.angle) {
        let x = panel.x(stop.at.seconds);
        let y = panel.y(turn * stop.at.degrees);
        let angle = side_of_neutral(angle, &computed.row);
        put(
            svg,
            format_args!(
                "<path class=\"catch\" transform=\"translate({x:.1} {y:.1})\" d=\"M-8 -8L8 8M8 -8L-8 8\"/><path class=\"catch\" stroke-dasharray=\"6 4\" d=\"M{x:.1} {:.1}V{:.1}\"/><text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">computed catch at {angle}</text>\n",
                y + 12.0,
                VELOCITY.0 + VELOCITY.1,
                x - 12.0,
                y - 6.0
            ),
        );
    }
    for (number, words) in extras(computed).iter().enumerate() {
        let y = panel.top + panel.height - 8.0 - 16.0 * count(number);
        put(
            svg,
            format_args!(
                "<text x=\"{:.1}\" y=\"{y:.1}\" text-anchor=\"end\">{words}</text>\n",
                WIDTH - RIGHT - 8.0
            ),
        );
    }
}
