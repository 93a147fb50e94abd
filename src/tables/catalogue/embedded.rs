//! The table files compiled into the binary.

use crate::tables::catalogue::TableFile;

/// The sources that rows name.
pub(super) const SOURCES: TableFile<'static> = TableFile {
    name: "SOURCES.toml",
    text: include_str!("../../../profiles/SOURCES.toml"),
};

/// The profiles, which are written by hand, with their file names.
pub(super) const PROFILES: &[(&str, &str)] = &[
    (
        "StructureDefinition-amount.json",
        include_str!("../../../profiles/fhir/StructureDefinition-amount.json"),
    ),
    (
        "StructureDefinition-comparison.json",
        include_str!("../../../profiles/fhir/StructureDefinition-comparison.json"),
    ),
    (
        "StructureDefinition-finding.json",
        include_str!("../../../profiles/fhir/StructureDefinition-finding.json"),
    ),
    (
        "StructureDefinition-graded.json",
        include_str!("../../../profiles/fhir/StructureDefinition-graded.json"),
    ),
    (
        "StructureDefinition-instrument.json",
        include_str!("../../../profiles/fhir/StructureDefinition-instrument.json"),
    ),
    (
        "StructureDefinition-pain-score.json",
        include_str!("../../../profiles/fhir/StructureDefinition-pain-score.json"),
    ),
    (
        "StructureDefinition-precaution.json",
        include_str!("../../../profiles/fhir/StructureDefinition-precaution.json"),
    ),
    (
        "StructureDefinition-range.json",
        include_str!("../../../profiles/fhir/StructureDefinition-range.json"),
    ),
    (
        "StructureDefinition-session-panel.json",
        include_str!("../../../profiles/fhir/StructureDefinition-session-panel.json"),
    ),
    (
        "StructureDefinition-session-provenance.json",
        include_str!("../../../profiles/fhir/StructureDefinition-session-provenance.json"),
    ),
    (
        "StructureDefinition-session-report.json",
        include_str!("../../../profiles/fhir/StructureDefinition-session-report.json"),
    ),
    (
        "StructureDefinition-statement.json",
        include_str!("../../../profiles/fhir/StructureDefinition-statement.json"),
    ),
    (
        "StructureDefinition-stretch-dynamic.json",
        include_str!("../../../profiles/fhir/StructureDefinition-stretch-dynamic.json"),
    ),
    (
        "StructureDefinition-stretch.json",
        include_str!("../../../profiles/fhir/StructureDefinition-stretch.json"),
    ),
    (
        "StructureDefinition-trace-catch.json",
        include_str!("../../../profiles/fhir/StructureDefinition-trace-catch.json"),
    ),
    (
        "StructureDefinition-trace-line.json",
        include_str!("../../../profiles/fhir/StructureDefinition-trace-line.json"),
    ),
    (
        "StructureDefinition-trace.json",
        include_str!("../../../profiles/fhir/StructureDefinition-trace.json"),
    ),
];

pub(super) const FILES: &[TableFile<'static>] = &[
    TableFile {
        name: "caution_signs.csv",
        text: include_str!("../../../profiles/caution_signs.csv"),
    },
    TableFile {
        name: "cautions.csv",
        text: include_str!("../../../profiles/cautions.csv"),
    },
    TableFile {
        name: "codes.csv",
        text: include_str!("../../../profiles/codes.csv"),
    },
    TableFile {
        name: "codes_to_confirm.csv",
        text: include_str!("../../../profiles/codes_to_confirm.csv"),
    },
    TableFile {
        name: "counted_units.csv",
        text: include_str!("../../../profiles/counted_units.csv"),
    },
    TableFile {
        name: "dimensions.csv",
        text: include_str!("../../../profiles/dimensions.csv"),
    },
    TableFile {
        name: "end_feel_endings.csv",
        text: include_str!("../../../profiles/end_feel_endings.csv"),
    },
    TableFile {
        name: "grade_amounts.csv",
        text: include_str!("../../../profiles/grade_amounts.csv"),
    },
    TableFile {
        name: "landmarks.csv",
        text: include_str!("../../../profiles/landmarks.csv"),
    },
    TableFile {
        name: "measurement_error.csv",
        text: include_str!("../../../profiles/measurement_error.csv"),
    },
    TableFile {
        name: "measures.csv",
        text: include_str!("../../../profiles/measures.csv"),
    },
    TableFile {
        name: "notation_orders.csv",
        text: include_str!("../../../profiles/notation_orders.csv"),
    },
    TableFile {
        name: "parts.csv",
        text: include_str!("../../../profiles/parts.csv"),
    },
    TableFile {
        name: "plausibility.csv",
        text: include_str!("../../../profiles/plausibility.csv"),
    },
    TableFile {
        name: "precaution_effects.csv",
        text: include_str!("../../../profiles/precaution_effects.csv"),
    },
    TableFile {
        name: "reference_ranges.csv",
        text: include_str!("../../../profiles/reference_ranges.csv"),
    },
    TableFile {
        name: "scale_versions.csv",
        text: include_str!("../../../profiles/scale_versions.csv"),
    },
    TableFile {
        name: "scales.csv",
        text: include_str!("../../../profiles/scales.csv"),
    },
    TableFile {
        name: "scales/ability-to-answer.csv",
        text: include_str!("../../../profiles/scales/ability-to-answer.csv"),
    },
    TableFile {
        name: "scales/alertness.csv",
        text: include_str!("../../../profiles/scales/alertness.csv"),
    },
    TableFile {
        name: "scales/ashworth.csv",
        text: include_str!("../../../profiles/scales/ashworth.csv"),
    },
    TableFile {
        name: "scales/body-position.csv",
        text: include_str!("../../../profiles/scales/body-position.csv"),
    },
    TableFile {
        name: "scales/catch-range.csv",
        text: include_str!("../../../profiles/scales/catch-range.csv"),
    },
    TableFile {
        name: "scales/clonus-word.csv",
        text: include_str!("../../../profiles/scales/clonus-word.csv"),
    },
    TableFile {
        name: "scales/component.csv",
        text: include_str!("../../../profiles/scales/component.csv"),
    },
    TableFile {
        name: "scales/condition.csv",
        text: include_str!("../../../profiles/scales/condition.csv"),
    },
    TableFile {
        name: "scales/end-feel.csv",
        text: include_str!("../../../profiles/scales/end-feel.csv"),
    },
    TableFile {
        name: "scales/ending.csv",
        text: include_str!("../../../profiles/scales/ending.csv"),
    },
    TableFile {
        name: "scales/goal-state.csv",
        text: include_str!("../../../profiles/scales/goal-state.csv"),
    },
    TableFile {
        name: "scales/handedness.csv",
        text: include_str!("../../../profiles/scales/handedness.csv"),
    },
    TableFile {
        name: "scales/handling-assistance.csv",
        text: include_str!("../../../profiles/scales/handling-assistance.csv"),
    },
    TableFile {
        name: "scales/handling-weight.csv",
        text: include_str!("../../../profiles/scales/handling-weight.csv"),
    },
    TableFile {
        name: "scales/joint-state.csv",
        text: include_str!("../../../profiles/scales/joint-state.csv"),
    },
    TableFile {
        name: "scales/landmark.csv",
        text: include_str!("../../../profiles/scales/landmark.csv"),
    },
    TableFile {
        name: "scales/local-sign.csv",
        text: include_str!("../../../profiles/scales/local-sign.csv"),
    },
    TableFile {
        name: "scales/method.csv",
        text: include_str!("../../../profiles/scales/method.csv"),
    },
    TableFile {
        name: "scales/modified-ashworth.csv",
        text: include_str!("../../../profiles/scales/modified-ashworth.csv"),
    },
    TableFile {
        name: "scales/monofilament.csv",
        text: include_str!("../../../profiles/scales/monofilament.csv"),
    },
    TableFile {
        name: "scales/mrc-power-plus-minus.csv",
        text: include_str!("../../../profiles/scales/mrc-power-plus-minus.csv"),
    },
    TableFile {
        name: "scales/mrc-power.csv",
        text: include_str!("../../../profiles/scales/mrc-power.csv"),
    },
    TableFile {
        name: "scales/muscle-bulk.csv",
        text: include_str!("../../../profiles/scales/muscle-bulk.csv"),
    },
    TableFile {
        name: "scales/neighbour-position.csv",
        text: include_str!("../../../profiles/scales/neighbour-position.csv"),
    },
    TableFile {
        name: "scales/no-result.csv",
        text: include_str!("../../../profiles/scales/no-result.csv"),
    },
    TableFile {
        name: "scales/not-tested-reason.csv",
        text: include_str!("../../../profiles/scales/not-tested-reason.csv"),
    },
    TableFile {
        name: "scales/plantar-response.csv",
        text: include_str!("../../../profiles/scales/plantar-response.csv"),
    },
    TableFile {
        name: "scales/posture-abduction.csv",
        text: include_str!("../../../profiles/scales/posture-abduction.csv"),
    },
    TableFile {
        name: "scales/posture-ankle.csv",
        text: include_str!("../../../profiles/scales/posture-ankle.csv"),
    },
    TableFile {
        name: "scales/posture-flexion.csv",
        text: include_str!("../../../profiles/scales/posture-flexion.csv"),
    },
    TableFile {
        name: "scales/posture-foot.csv",
        text: include_str!("../../../profiles/scales/posture-foot.csv"),
    },
    TableFile {
        name: "scales/posture-forearm.csv",
        text: include_str!("../../../profiles/scales/posture-forearm.csv"),
    },
    TableFile {
        name: "scales/posture-lateral-flexion.csv",
        text: include_str!("../../../profiles/scales/posture-lateral-flexion.csv"),
    },
    TableFile {
        name: "scales/posture-rotation.csv",
        text: include_str!("../../../profiles/scales/posture-rotation.csv"),
    },
    TableFile {
        name: "scales/posture-trunk-rotation.csv",
        text: include_str!("../../../profiles/scales/posture-trunk-rotation.csv"),
    },
    TableFile {
        name: "scales/precaution-limit.csv",
        text: include_str!("../../../profiles/scales/precaution-limit.csv"),
    },
    TableFile {
        name: "scales/precaution-source.csv",
        text: include_str!("../../../profiles/scales/precaution-source.csv"),
    },
    TableFile {
        name: "scales/precaution-status.csv",
        text: include_str!("../../../profiles/scales/precaution-status.csv"),
    },
    TableFile {
        name: "scales/presence.csv",
        text: include_str!("../../../profiles/scales/presence.csv"),
    },
    TableFile {
        name: "scales/range-word.csv",
        text: include_str!("../../../profiles/scales/range-word.csv"),
    },
    TableFile {
        name: "scales/relative.csv",
        text: include_str!("../../../profiles/scales/relative.csv"),
    },
    TableFile {
        name: "scales/resting-tone.csv",
        text: include_str!("../../../profiles/scales/resting-tone.csv"),
    },
    TableFile {
        name: "scales/scapular-rotation.csv",
        text: include_str!("../../../profiles/scales/scapular-rotation.csv"),
    },
    TableFile {
        name: "scales/sensation-compared.csv",
        text: include_str!("../../../profiles/scales/sensation-compared.csv"),
    },
    TableFile {
        name: "scales/sensation-quality.csv",
        text: include_str!("../../../profiles/scales/sensation-quality.csv"),
    },
    TableFile {
        name: "scales/sensation-reference.csv",
        text: include_str!("../../../profiles/scales/sensation-reference.csv"),
    },
    TableFile {
        name: "scales/sensation.csv",
        text: include_str!("../../../profiles/scales/sensation.csv"),
    },
    TableFile {
        name: "scales/splint-worn.csv",
        text: include_str!("../../../profiles/scales/splint-worn.csv"),
    },
    TableFile {
        name: "scales/stretch-speed.csv",
        text: include_str!("../../../profiles/scales/stretch-speed.csv"),
    },
    TableFile {
        name: "scales/subluxation-word.csv",
        text: include_str!("../../../profiles/scales/subluxation-word.csv"),
    },
    TableFile {
        name: "scales/tardieu-quality-0-4.csv",
        text: include_str!("../../../profiles/scales/tardieu-quality-0-4.csv"),
    },
    TableFile {
        name: "scales/tardieu-quality-0-5.csv",
        text: include_str!("../../../profiles/scales/tardieu-quality-0-5.csv"),
    },
    TableFile {
        name: "scales/tendon-reflex.csv",
        text: include_str!("../../../profiles/scales/tendon-reflex.csv"),
    },
    TableFile {
        name: "scales/tone-change.csv",
        text: include_str!("../../../profiles/scales/tone-change.csv"),
    },
    TableFile {
        name: "scales/trace-method.csv",
        text: include_str!("../../../profiles/scales/trace-method.csv"),
    },
    TableFile {
        name: "scales/trace-outcome.csv",
        text: include_str!("../../../profiles/scales/trace-outcome.csv"),
    },
    TableFile {
        name: "scales/trace-reason.csv",
        text: include_str!("../../../profiles/scales/trace-reason.csv"),
    },
    TableFile {
        name: "scales/trace-sampling.csv",
        text: include_str!("../../../profiles/scales/trace-sampling.csv"),
    },
    TableFile {
        name: "scales/two-point-word.csv",
        text: include_str!("../../../profiles/scales/two-point-word.csv"),
    },
    TableFile {
        name: "scales/verdict.csv",
        text: include_str!("../../../profiles/scales/verdict.csv"),
    },
    TableFile {
        name: "scales/visit-outcome.csv",
        text: include_str!("../../../profiles/scales/visit-outcome.csv"),
    },
    TableFile {
        name: "scales/voluntary-movement.csv",
        text: include_str!("../../../profiles/scales/voluntary-movement.csv"),
    },
    TableFile {
        name: "sites.csv",
        text: include_str!("../../../profiles/sites.csv"),
    },
    TableFile {
        name: "stretch_signs.csv",
        text: include_str!("../../../profiles/stretch_signs.csv"),
    },
    TableFile {
        name: "trace_cut_offs.csv",
        text: include_str!("../../../profiles/trace_cut_offs.csv"),
    },
    TableFile {
        name: "trace_parameters.csv",
        text: include_str!("../../../profiles/trace_parameters.csv"),
    },
    TableFile {
        name: "unit_choices.csv",
        text: include_str!("../../../profiles/unit_choices.csv"),
    },
    TableFile {
        name: "units.csv",
        text: include_str!("../../../profiles/units.csv"),
    },
];
