//! Prompts beside the findings that raise them, so that they reach the record with them.

use crate::base::private::Private;
use crate::examination::measure::prompt::Prompt;
use crate::fhir::coding::Coded;

/// Adds to each finding, as a note and in its words, the prompts that it raises.
pub fn attach(coded: &mut [Coded], prompts: &[Prompt]) {
    for one in coded {
        let raised = prompts
            .iter()
            .filter(|prompt| prompt.findings.contains(&one.id));
        for prompt in raised {
            let told = prompt.told();
            one.told = Private::new(format!("{} Note: {told}.", one.told.open()));
            one.notes.push(Private::new(told));
        }
    }
}
