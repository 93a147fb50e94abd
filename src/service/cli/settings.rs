//! Settings from the command line.
#![expect(
    clippy::disallowed_methods,
    reason = "this module reads the file a person names"
)]

use crate::base::clock::MachineClock;
use crate::base::problem::file_words;
use crate::delivery::deliver::http::Connection;
use crate::delivery::deliver::{SignIn, Target};
use crate::delivery::outbox::Outbox;
use crate::delivery::outbox::place::Place as Store;
use crate::service::app::deliver::Delivery;
use crate::service::app::submit::Elsewhere;
use crate::service::cli::arguments::own::OwnTables;
use crate::service::cli::arguments::{EarlierFrom, EarlierSessions, StoreAndTarget, TargetOptions};
use crate::service::cli::report::Mistake;
use crate::service::cli::tables;
use crate::service::config::{ConfigError, Settings};
use crate::tables::catalogue::{Catalogue, sha256_hex};
use anyhow::Context;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Told where a record server is needed and none is named.
pub(super) const NO_TARGET: &str =
    "no record server is named: use --to BASE or a configuration with a target";

/// The settings a command line names.
pub(super) fn settings(place: &StoreAndTarget) -> anyhow::Result<Settings> {
    if let Some(path) = &place.config {
        return of_file(path);
    }
    let state = place.state.as_deref().context("no state is named")?;
    let state = Store::named(state, None).map_err(ConfigError::State)?;
    let sign_in = sign_in(
        place.server.bearer_file.as_ref(),
        place.server.basic_file.as_ref(),
    );
    if let Some(base) = &place.server.to {
        return Ok(Settings::single(state, base, sign_in)?);
    }
    let mut settings = Settings::single(state, "http://127.0.0.1", SignIn::None)?;
    settings.targets.clear();
    Ok(settings)
}

/// The settings of the targets that a command line names.
pub(super) fn of_targets(options: &TargetOptions) -> anyhow::Result<Settings> {
    let settings = match (&options.config, &options.server.to) {
        (Some(path), _) => of_file(path)?,
        (None, Some(base)) => {
            let sign_in = sign_in(
                options.server.bearer_file.as_ref(),
                options.server.basic_file.as_ref(),
            );
            Settings::single(Store::Folder(PathBuf::new()), base, sign_in)?
        }
        (None, None) => return Err(Mistake(NO_TARGET.to_owned()).into()),
    };
    if settings.targets.is_empty() {
        return Err(Mistake(NO_TARGET.to_owned()).into());
    }
    Ok(settings)
}

/// The store or record server that earlier sessions are taken from.
pub(super) fn of_earlier(options: &EarlierSessions) -> anyhow::Result<Settings> {
    let wanted = match options.earlier_from {
        Some(EarlierFrom::Store) => options.state.is_some(),
        Some(EarlierFrom::Target) => options.server.to.is_some(),
        None => false,
    };
    if let (false, None) = (wanted, &options.config) {
        let what = "earlier sessions: name the store with --state, the record server with --to, \
                    or either with --config";
        return Err(Mistake(what.to_owned()).into());
    }
    settings(&StoreAndTarget {
        config: options.config.clone(),
        state: Some(options.state.clone().unwrap_or_default()),
        server: options.server.clone(),
    })
}

/// The tables of the settings and the command line, which goes before the configuration.
pub(super) fn tables(own: &OwnTables, settings: &Settings) -> anyhow::Result<Catalogue> {
    let named = if own.reference_tables.is_empty() {
        &settings.reference_tables
    } else {
        &own.reference_tables
    };
    tables::tables(own_tables(own, settings), named)
}

/// The operator's folder of tables: the command line goes before the configuration.
pub(super) fn own_tables<'a>(own: &'a OwnTables, settings: &'a Settings) -> Option<&'a Path> {
    let named = own.tables.as_ref().or(settings.tables.as_ref());
    named.map(PathBuf::as_path)
}

/// The settings of a file.
pub(super) fn of_file(path: &Path) -> anyhow::Result<Settings> {
    let text = fs::read_to_string(path).map_err(|cause| {
        Mistake(format!(
            "the configuration file: {}",
            file_words(cause.kind())
        ))
    })?;
    Ok(Settings::read(&text)?)
}

fn sign_in(bearer_file: Option<&PathBuf>, basic_file: Option<&PathBuf>) -> SignIn {
    match (bearer_file, basic_file) {
        (Some(path), _) => SignIn::Bearer(path.clone()),
        (None, Some(path)) => SignIn::Basic(path.clone()),
        (None, None) => SignIn::None,
    }
}

/// The store of the settings, made when it is missing, its targets bound to their servers.
pub(super) async fn outbox(settings: &Settings) -> anyhow::Result<Outbox> {
    let outbox = Outbox::open_at(&settings.state).await?;
    bind(settings, &outbox).await?;
    Ok(outbox)
}

/// Binds the targets of the settings to their servers.
pub(super) async fn bind(settings: &Settings, outbox: &Outbox) -> anyhow::Result<()> {
    for target in &settings.targets {
        outbox
            .bind_target(&target.name, &sha256_hex(target.base.open().as_bytes()))
            .await?;
    }
    Ok(())
}

/// The store of the settings, for looking and deciding.
pub(super) async fn existing_outbox(settings: &Settings) -> anyhow::Result<Outbox> {
    Ok(Outbox::open_existing(&settings.state).await?)
}

/// Checks that alerts can be sent as the settings say.
pub(super) fn alerts(settings: &Settings) -> anyhow::Result<()> {
    if let Some(webhook) = &settings.alerts.webhook {
        webhook.client()?;
    }
    Ok(())
}

/// The record server that is asked for earlier sessions, where the settings name one.
pub(super) fn elsewhere(settings: &Settings) -> anyhow::Result<Option<Elsewhere>> {
    let mut targets = settings.targets.iter();
    let Some((name, patience)) = &settings.earlier_from else {
        return Ok(None);
    };
    let target = targets.find(|one| one.name == *name);
    let elsewhere = |target: &Target| {
        Ok(Elsewhere {
            connection: Connection::new(target.clone())?,
            patience: *patience,
        })
    };
    target.map(elsewhere).transpose()
}

/// One delivery for each target.
pub(super) fn deliveries(settings: &Settings, outbox: &Outbox) -> anyhow::Result<Vec<Delivery>> {
    let delivery = |target: &Target| {
        Ok(Delivery {
            outbox: outbox.clone(),
            connection: Connection::new(target.clone())?,
            clock: Arc::new(MachineClock),
            lease: settings.lease,
        })
    };
    settings.targets.iter().map(delivery).collect()
}
