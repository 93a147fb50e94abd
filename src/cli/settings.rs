//! Settings from the command line.
#![expect(
    clippy::disallowed_methods,
    reason = "this module reads the file a person names"
)]

use crate::app::deliver::Delivery;
use crate::catalogue::sha256_hex;
use crate::cli::arguments::Place;
use crate::cli::report::Mistake;
use crate::clock::MachineClock;
use crate::config::Settings;
use crate::deliver::SignIn;
use crate::deliver::http::Connection;
use crate::outbox::Outbox;
use anyhow::Context;
use std::fs;
use std::sync::Arc;

/// The settings a command line names.
pub(super) fn settings(place: &Place) -> anyhow::Result<Settings> {
    if let Some(path) = &place.config {
        let text = fs::read_to_string(path)
            .map_err(|cause| Mistake(format!("the configuration file: {}", cause.kind())))?;
        return Ok(Settings::read(&text)?);
    }
    let state = place.state.clone().context("no state folder is named")?;
    let sign_in = match (&place.bearer_file, &place.basic_file) {
        (Some(path), _) => SignIn::Bearer(path.clone()),
        (None, Some(path)) => SignIn::Basic(path.clone()),
        (None, None) => SignIn::None,
    };
    if let Some(base) = &place.to {
        return Ok(Settings::single(state, base, sign_in)?);
    }
    let mut settings = Settings::single(state, "http://127.0.0.1", SignIn::None)?;
    settings.targets.clear();
    Ok(settings)
}

/// The store of the settings, made when it is missing, its targets bound to their servers.
pub(super) async fn outbox(settings: &Settings) -> anyhow::Result<Outbox> {
    let outbox = Outbox::open(&settings.state).await?;
    for target in &settings.targets {
        outbox
            .bind_target(&target.name, &sha256_hex(target.base.open().as_bytes()))
            .await?;
    }
    Ok(outbox)
}

/// The store of the settings, for looking and deciding.
pub(super) async fn existing_outbox(settings: &Settings) -> anyhow::Result<Outbox> {
    Ok(Outbox::open_existing(&settings.state).await?)
}

/// One delivery for each target.
pub(super) fn deliveries(settings: &Settings, outbox: &Outbox) -> anyhow::Result<Vec<Delivery>> {
    let delivery = |target: &crate::deliver::Target| {
        Ok(Delivery {
            outbox: outbox.clone(),
            connection: Connection::new(target.clone())?,
            clock: Arc::new(MachineClock),
            lease: settings.lease,
        })
    };
    settings.targets.iter().map(delivery).collect()
}
