//! The table files compiled into the binary: each name stands here once, and `rustc` builds anew when a
//! file changes.

use crate::tables::catalogue::TableFile;

/// The files of these names under `profiles/`.
macro_rules! files {
    ($($name:literal)*) => {
        &[$(TableFile {
            name: $name,
            text: include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/profiles/", $name)),
        },)*]
    };
}

/// The profiles of these names under `profiles/fhir/`, with their file names.
macro_rules! profiles {
    ($($name:literal)*) => {
        &[$((
            concat!("StructureDefinition-", $name, ".json"),
            include_str!(concat!(
                env!("CARGO_MANIFEST_DIR"), "/profiles/fhir/StructureDefinition-", $name, ".json"
            )),
        ),)*]
    };
}

/// The sources that rows name.
pub(super) const SOURCES: TableFile<'static> = TableFile {
    name: "SOURCES.toml",
    text: include_str!("../../../profiles/SOURCES.toml"),
};

/// The profiles, which are written by hand.
pub(super) const PROFILES: &[(&str, &str)] = profiles! {
    "amount" "comparison" "finding" "graded" "instrument" "pain-score" "precaution" "range"
    "session-panel" "session-provenance" "session-report" "statement" "stretch-dynamic" "stretch"
    "trace-catch" "trace-line" "trace"
};

pub(super) const FILES: &[TableFile<'static>] = files! {
    "caution_signs.csv"
    "cautions.csv"
    "codes.csv"
    "codes_to_confirm.csv"
    "counted_units.csv"
    "dimensions.csv"
    "end_feel_endings.csv"
    "grade_amounts.csv"
    "landmarks.csv"
    "measurement_error.csv"
    "measures.csv"
    "notation_orders.csv"
    "parts.csv"
    "plausibility.csv"
    "precaution_effects.csv"
    "reference_ranges.csv"
    "scale_versions.csv"
    "scales.csv"
    "scales/ability-to-answer.csv"
    "scales/alertness.csv"
    "scales/ashworth.csv"
    "scales/body-position.csv"
    "scales/catch-range.csv"
    "scales/clonus-word.csv"
    "scales/component.csv"
    "scales/condition.csv"
    "scales/end-feel.csv"
    "scales/ending.csv"
    "scales/goal-state.csv"
    "scales/handedness.csv"
    "scales/handling-assistance.csv"
    "scales/handling-weight.csv"
    "scales/joint-state.csv"
    "scales/landmark.csv"
    "scales/local-sign.csv"
    "scales/method.csv"
    "scales/modified-ashworth.csv"
    "scales/monofilament.csv"
    "scales/mrc-power-plus-minus.csv"
    "scales/mrc-power.csv"
    "scales/muscle-bulk.csv"
    "scales/neighbour-position.csv"
    "scales/no-result.csv"
    "scales/not-tested-reason.csv"
    "scales/plantar-response.csv"
    "scales/posture-abduction.csv"
    "scales/posture-ankle.csv"
    "scales/posture-flexion.csv"
    "scales/posture-foot.csv"
    "scales/posture-forearm.csv"
    "scales/posture-lateral-flexion.csv"
    "scales/posture-rotation.csv"
    "scales/posture-trunk-rotation.csv"
    "scales/precaution-limit.csv"
    "scales/precaution-source.csv"
    "scales/precaution-status.csv"
    "scales/presence.csv"
    "scales/range-word.csv"
    "scales/relative.csv"
    "scales/resting-tone.csv"
    "scales/scapular-rotation.csv"
    "scales/sensation-compared.csv"
    "scales/sensation-quality.csv"
    "scales/sensation-reference.csv"
    "scales/sensation.csv"
    "scales/splint-worn.csv"
    "scales/stretch-speed.csv"
    "scales/subluxation-word.csv"
    "scales/tardieu-quality-0-4.csv"
    "scales/tardieu-quality-0-5.csv"
    "scales/tendon-reflex.csv"
    "scales/tone-change.csv"
    "scales/trace-method.csv"
    "scales/trace-outcome.csv"
    "scales/trace-reason.csv"
    "scales/trace-sampling.csv"
    "scales/two-point-word.csv"
    "scales/verdict.csv"
    "scales/visit-outcome.csv"
    "scales/voluntary-movement.csv"
    "sites.csv"
    "stretch_signs.csv"
    "trace_cut_offs.csv"
    "trace_parameters.csv"
    "unit_choices.csv"
    "units.csv"
};
