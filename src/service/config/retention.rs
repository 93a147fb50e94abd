//! The table `[retention]`.

use crate::service::config::ConfigError;
use serde::Deserialize;

/// For how long the content of sessions is kept once it is delivered.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Retention {
    /// Days after a session was accepted; without end where nothing is said.
    pub after_days: Option<u32>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RetentionFile {
    after_days: u32,
}

/// A hundred years: nothing is kept longer by a mistake of a digit.
const MOST_DAYS: u32 = 36_525;

pub(super) fn read(file: Option<RetentionFile>) -> Result<Retention, ConfigError> {
    let Some(file) = file else {
        return Ok(Retention::default());
    };
    if !(1..=MOST_DAYS).contains(&file.after_days) {
        return Err(ConfigError::Retention("after_days has to be 1 to 36525"));
    }
    Ok(Retention {
        after_days: Some(file.after_days),
    })
}

#[cfg(test)]
mod tests {
    use crate::service::config::Settings;

    #[test]
    fn nothing_is_purged_unless_days_are_said() {
        let read = |table: &str| {
            let settings = Settings::read(&format!("state = 'x'\n{table}"));
            let days = settings.map(|settings| settings.retention.after_days);
            days.map_err(|error| error.to_string())
        };

        assert_eq!(read(""), Ok(None));
        assert_eq!(read("[retention]\nafter_days = 730"), Ok(Some(730)));
        for wrong in ["0", "36526"] {
            let told = read(&format!("[retention]\nafter_days = {wrong}"));
            assert_eq!(
                told,
                Err("retention: after_days has to be 1 to 36525".to_owned())
            );
        }
        assert!(read("[retention]").is_err());
    }
}
