//! The traces of one session: their samples, what was computed, and what is to be told of it.

use crate::base::problem::Problems;
use crate::examination::measure::Measured;
use crate::examination::measure::traces::MeasuredTrace;
use crate::examination::trace::computed::computed;
use crate::examination::trace::lines::lines;
use crate::examination::trace::parameters::Parameters;
use crate::examination::trace::sampled::traced;
use crate::examination::trace::told::tell;
use crate::examination::trace::traced::{Computed, Dependence, Numbers, Traced};
use crate::tables::catalogue::Catalogue;

/// `Debug` for a type that holds what was recorded of a person.
macro_rules! sealed {
    ($($name:ident),* $(,)?) => {
        $(impl std::fmt::Debug for $name {
            fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                formatter.write_str(concat!(stringify!($name), " [private]"))
            }
        })*
    };
}

sealed!(Traced, Computed, Numbers, Dependence);

/// Everything that follows from the traces of a session.
#[derive(Debug, Clone, Default)]
pub struct Traces {
    /// Each trace.
    pub each: Vec<Traced>,
    /// Each muscle that was stretched at several speeds.
    pub lines: Vec<Dependence>,
}

/// Computes what the traces of a session show, and tells what a person should look at.
pub fn traces(
    measured: &[MeasuredTrace],
    findings: &[Measured],
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Traces {
    let Some(parameters) = Parameters::of(catalogue) else {
        return Traces::default();
    };
    let mut each: Vec<Traced> = measured
        .iter()
        .filter_map(|one| traced(one, catalogue, &parameters, problems))
        .collect();
    let computed: Vec<Option<Computed>> = each
        .iter()
        .map(|one| computed(one, &each, findings, catalogue, &parameters))
        .collect();
    for (one, computed) in each.iter_mut().zip(computed) {
        one.computed = computed;
        tell(one, problems);
    }
    let lines = lines(&each, catalogue, &parameters);
    Traces { each, lines }
}
