//! Where a session goes, and what stands in the way.

use crate::base::code::Code;
use crate::base::json::Node;
use crate::base::problem::Problems;
use crate::delivery::outbox::offer::{Before, Wanted};
use crate::service::app::encode::Held;
use crate::service::config::route::{BusinessIdentifier, From, Routes};

/// The targets of a document and the number of the route that says so; nothing where no route fits.
pub(super) fn targets<'a>(routes: &'a Routes, text: &str) -> Option<(&'a [String], Option<usize>)> {
    routes.of(&from(text).unwrap_or_default())
}

/// Where a document comes from: its location, and the organisation that its signer acts for.
fn from(text: &str) -> Option<From> {
    let node = Node::parse(text).ok()?;
    let session = node.member("session")?;
    let named = |identifier: Option<&Node>| -> Option<BusinessIdentifier> {
        let identifier = identifier?;
        let (system, value) = (identifier.text_of("system")?, identifier.text_of("value")?);
        Some((system.to_owned(), value.to_owned()))
    };
    let signer = session.at(&["signed", "by"]).and_then(Node::text);
    let mut performers = node.items_of("performers").iter();
    let signer = performers.find(|one| signer.is_some() && one.text_of("key") == signer);
    Some(From {
        organisation: named(signer.and_then(|one| one.member("organisation"))),
        location: named(session.member("location")),
    })
}

/// What is to be told of the way of a session: that it has none, or that a server which is no target any
/// more keeps an earlier version.
pub(super) fn problems(wanted: Wanted<'_>, before: &Before) -> Problems {
    let mut problems = Problems::new();
    let (kept, left): (Vec<_>, Vec<_>) = before
        .targets
        .iter()
        .partition(|one| wanted.all.contains(one));
    if wanted.targets.is_empty() && kept.is_empty() {
        problems.error(
            Code::RouteNone,
            "/session/location",
            "no route of the configuration takes this session".to_owned(),
            "name the location, or the organisation of the signer, as the routes know them; or add a \
             route without either, which takes what is left",
        );
    }
    for target in left {
        problems.note(
            Code::RouteLeft,
            "/session/version",
            format!("{target} has an earlier version and is not among the targets any more"),
            "correct it there by hand, or put the target back until this version was delivered",
        );
    }
    problems
}

/// A document that is held for other reasons, and these.
pub(super) fn with(held: Held, way: &Problems) -> Held {
    let mut problems = way.clone();
    problems.take(held.problems.iter().cloned());
    Held {
        problems: problems.sorted(),
        ..held
    }
}
