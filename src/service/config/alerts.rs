//! The table `[alerts]`.

use crate::base::private::Private;
use crate::delivery::deliver::webhook::Webhook;
use crate::service::config::{ConfigError, target};
use serde::Deserialize;
use std::path::PathBuf;
use std::time::Duration;

/// When and how somebody is alerted of what is urgent and not delivered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alerts {
    /// How long after it was accepted; what waits for a person is told of at once.
    pub after: Duration,
    /// Where alerts go besides the log.
    pub webhook: Option<Webhook>,
}

impl Default for Alerts {
    fn default() -> Self {
        Self {
            after: Duration::from_mins(after_minutes()),
            webhook: None,
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct AlertsFile {
    #[serde(default = "after_minutes")]
    after_minutes: u64,
    webhook: Option<String>,
    webhook_token_file: Option<PathBuf>,
    webhook_proxy: Option<String>,
    webhook_proxy_secret_file: Option<PathBuf>,
    webhook_ca_file: Option<PathBuf>,
}

const fn after_minutes() -> u64 {
    15
}

pub(super) fn read(file: Option<AlertsFile>) -> Result<Alerts, ConfigError> {
    let Some(file) = file else {
        return Ok(Alerts::default());
    };
    if file.after_minutes > 1440 {
        return Err(ConfigError::Alerts("after_minutes has to be 0 to 1440"));
    }
    Ok(Alerts {
        after: Duration::from_mins(file.after_minutes),
        webhook: webhook(file)?,
    })
}

fn webhook(file: AlertsFile) -> Result<Option<Webhook>, ConfigError> {
    let Some(address) = file.webhook else {
        let files = [
            file.webhook_token_file,
            file.webhook_proxy_secret_file,
            file.webhook_ca_file,
        ];
        if files.iter().any(Option::is_some) || file.webhook_proxy.is_some() {
            return Err(ConfigError::Alerts(
                "webhook_token_file, webhook_proxy, webhook_proxy_secret_file and webhook_ca_file go with webhook",
            ));
        }
        return Ok(None);
    };
    if file.webhook_ca_file.is_some() && address.starts_with("http://") {
        return Err(ConfigError::Alerts(
            "webhook_ca_file needs a webhook that begins with https://",
        ));
    }
    let proxy = target::proxy(file.webhook_proxy, file.webhook_proxy_secret_file);
    Ok(Some(Webhook {
        address: checked(address)?,
        token_file: file.webhook_token_file,
        proxy: proxy.map_err(ConfigError::AlertsProxy)?,
        ca_file: file.webhook_ca_file,
    }))
}

fn checked(address: String) -> Result<Private<String>, ConfigError> {
    if target::by_tls_or_here(&address) && !address.contains(['@', ' ', '#']) {
        Ok(Private::new(address))
    } else {
        Err(ConfigError::Alerts(
            "webhook has to begin with https://, or with http:// on this machine, and name no user: use \
             webhook_token_file",
        ))
    }
}

#[cfg(test)]
mod tests {
    use crate::service::config::Settings;
    use std::time::Duration;

    #[test]
    fn alerts_are_said_whole_and_travel_by_tls() {
        let read = |keys: &str| {
            let settings = Settings::read(&format!("state = 'x'\n[alerts]\n{keys}"));
            settings.map_err(|error| error.to_string())
        };

        assert_eq!(
            read("").expect("reads").alerts.after,
            Duration::from_mins(15)
        );
        let local = read("webhook = 'http://127.0.0.1:9/a'\nafter_minutes = 0").expect("reads");
        assert!(local.alerts.webhook.is_some() && local.alerts.after.is_zero());
        for (keys, told) in [
            (
                "webhook = 'http://pager.example/a'",
                "has to begin with https://",
            ),
            (
                "webhook = 'http://127.0.0.1.example/a'",
                "has to begin with https://",
            ),
            ("webhook = 'https://u:p@pager.example/a'", "name no user"),
            ("webhook_token_file = 'f'", "go with webhook"),
            ("webhook_ca_file = 'f'", "go with webhook"),
            ("webhook_proxy = 'none'", "go with webhook"),
            (
                "webhook = 'http://127.0.0.1:9/a'\nwebhook_ca_file = 'f'",
                "begins with https://",
            ),
            (
                "webhook = 'https://pager.example/a'\nwebhook_proxy = 'http://u@proxy.example'",
                "webhook_proxy has to be none",
            ),
            (
                "webhook = 'https://pager.example/a'\nwebhook_proxy_secret_file = 'f'",
                "webhook_proxy_secret_file without proxy",
            ),
            ("after_minutes = 1441", "0 to 1440"),
            ("mail = 'x'", "unknown field"),
        ] {
            let error = read(keys).err().unwrap_or_default();
            assert!(error.contains(told), "{keys}: {error}");
        }
    }
}
