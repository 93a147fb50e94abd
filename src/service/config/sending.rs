//! The keys of a `[[target]]` that say how it is sent to, and what it wants otherwise.

use crate::delivery::deliver::plan::{Mode, Sending};
use crate::fhir::record::fitted::{Fitting, MAY_BE_LEFT_OUT};
use crate::service::config::ConfigError;
use crate::service::config::target_file::{NotTestedFile, TargetFile};

pub(super) fn sending(file: &TargetFile) -> Result<Sending, ConfigError> {
    let wrong = |what| Err(ConfigError::Target(file.name.clone(), what));
    let mode = file.mode;
    if mode == Mode::Single && file.most_entries.is_some() {
        return wrong("most_entries is for Bundles, and mode = \"single\" sends none: take it out");
    }
    if file.most_entries == Some(0) {
        return wrong("most_entries has to be 1 or more");
    }
    // No Observation of ours is smaller.
    if file.most_bytes.is_some_and(|bytes| bytes < 1024) {
        return wrong("most_bytes has to be 1024 or more");
    }
    Ok(Sending {
        mode,
        most_entries: file.most_entries,
        most_bytes: file.most_bytes,
    })
}

pub(super) fn fitting(file: &TargetFile) -> Result<Fitting, ConfigError> {
    let wrong = |what| Err(ConfigError::Target(file.name.clone(), what));
    let mut without = Vec::new();
    if let Some(elements) = &file.elements {
        let known = |name: &String| MAY_BE_LEFT_OUT.contains(&name.as_str());
        if !elements.iter().all(known) {
            return wrong(
                "elements names those of device, extension, method, note and text that the server \
                 takes; the others carry what is stated and always travel",
            );
        }
        let left_out = MAY_BE_LEFT_OUT.into_iter();
        without.extend(left_out.filter(|name| !elements.iter().any(|one| one == name)));
    }
    let plain = |text: &String| !text.trim().is_empty() && !text.chars().any(char::is_control);
    if !file
        .unit_texts
        .iter()
        .all(|(code, text)| plain(code) && plain(text))
    {
        return wrong("unit_texts gives a text to each UCUM code, and neither may be empty");
    }
    let twice = |at: usize, one: &String| file.coding_order.iter().take(at).any(|two| two == one);
    let mut systems = file.coding_order.iter().enumerate();
    if systems.any(|(at, one)| !one.contains(':') || twice(at, one)) {
        return wrong("coding_order is a list of the addresses of code systems, each once");
    }
    Ok(Fitting {
        without,
        unit_texts: file.unit_texts.clone(),
        coding_order: file.coding_order.clone(),
        cancelled: file.not_tested == NotTestedFile::Cancelled,
    })
}

#[cfg(test)]
mod tests {
    use crate::delivery::deliver::plan::Mode;
    use crate::service::config::Settings;

    fn read(keys: &str) -> Result<Settings, String> {
        let text = format!("state = 'x'\n[[target]]\nname='a'\nbase='https://h'\n{keys}");
        Settings::read(&text).map_err(|error| error.to_string())
    }

    #[test]
    fn what_is_said_of_sending_and_fitting_reaches_the_target() {
        let settings = read(
            "mode = 'batch'\nmost_entries = 20\nmost_bytes = 65536\nelements = ['note', 'text']\n\
             unit_texts = {deg = '°'}\ncoding_order = ['http://loinc.org']\n\
             not_tested = 'cancelled'",
        );

        let target = settings.expect("reads").targets[0].clone();

        let sending = target.sending;
        assert_eq!(
            (sending.mode, sending.most_entries, sending.most_bytes),
            (Mode::Batch, Some(20), Some(65536))
        );
        assert_eq!(target.fitting.without, ["device", "extension", "method"]);
        assert_eq!(target.fitting.unit_texts["deg"], "°");
        assert_eq!(target.fitting.coding_order, ["http://loinc.org"]);
        assert!(target.fitting.cancelled);
        assert!(
            read("").expect("reads").targets[0]
                .fitting
                .changes_nothing()
        );
    }

    #[test]
    fn what_would_change_the_sense_or_send_nothing_is_refused() {
        for (keys, told) in [
            ("elements = ['bodySite']", "always travel"),
            ("most_entries = 0", "1 or more"),
            ("most_bytes = 10", "1024 or more"),
            ("mode = 'single'\nmost_entries = 5", "sends none"),
            ("mode = 'stream'", "unknown variant"),
            ("unit_texts = {deg = ' '}", "neither may be empty"),
            ("coding_order = ['loinc']", "addresses of code systems"),
            ("coding_order = ['a:b', 'a:b']", "each once"),
            ("not_tested = 'preliminary'", "unknown variant"),
        ] {
            let error = read(keys).err().unwrap_or_default();

            assert!(error.contains(told), "{keys}: {error}");
        }
    }
}
