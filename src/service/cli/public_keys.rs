//! `public-keys`: what an authorization server has to know of us.

use crate::base::json::{Node, object};
use crate::delivery::deliver::SignIn;
use crate::delivery::deliver::smart::public::Public;
use crate::service::cli::arguments::PublicKeysOptions;
use crate::service::cli::report::Mistake;
use crate::service::cli::{Ended, settings};
use std::io::{self, Write as _};
use std::path::Path;

/// One key to be shown: whose it is, its file, and the `kid` it is registered by.
type Wanted<'a> = (String, &'a Path, Option<&'a str>);

pub(super) fn public_keys(options: &PublicKeysOptions) -> anyhow::Result<Ended> {
    let settings = options
        .config
        .as_deref()
        .map(settings::of_file)
        .transpose()?;
    let targets = settings.iter().flat_map(|settings| &settings.targets);
    let mut wanted: Vec<Wanted<'_>> = targets
        .filter_map(|target| match &target.sign_in {
            SignIn::Smart(smart) => Some((
                format!("key_file of target {}", target.name),
                smart.key_file.as_path(),
                smart.key_id.as_deref(),
            )),
            SignIn::None | SignIn::Basic(_) | SignIn::Bearer(_) => None,
        })
        .collect();
    let besides = options.keys.iter().zip(1..);
    wanted.extend(
        besides.map(|(path, number): (_, u32)| (format!("KEY {number}"), path.as_path(), None)),
    );
    if wanted.is_empty() {
        let what = "no target of the configuration has sign_in = \"smart\": name a KEY, or set up the sign-in first";
        return Err(Mistake(what.to_owned()).into());
    }
    io::stdout().write_all(key_set(&wanted)?.pretty().as_bytes())?;
    Ok(Ended::Done)
}

/// All of them or none: a set without one of its keys would lock that one out.
fn key_set(wanted: &[Wanted<'_>]) -> Result<Node, Mistake> {
    let mut keys: Vec<Node> = Vec::new();
    let mut faults = Vec::new();
    for (whose, path, key_id) in wanted {
        let public = match Public::read(path) {
            Ok(public) => public,
            Err(why) => {
                faults.push(format!("{whose}: {why}"));
                continue;
            }
        };
        let key = public.as_key(*key_id);
        // Two targets may share a key; a kid that names two keys would be refused for both.
        if keys.contains(&key) {
            continue;
        }
        if keys
            .iter()
            .any(|other| other.text_of("kid") == key.text_of("kid"))
        {
            faults.push(format!(
                "{whose} has the key_id of another key: give each key its own, or leave key_id out, so that it follows \
                 from the key"
            ));
        }
        keys.push(key);
    }
    if faults.is_empty() {
        Ok(object([("keys", Node::List(keys))]))
    } else {
        Err(Mistake(faults.join("\n")))
    }
}
