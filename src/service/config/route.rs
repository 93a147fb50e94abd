//! Which session goes to which targets: the `[[route]]` tables of the configuration file.

use crate::service::config::ConfigError;
use serde::Deserialize;

/// Namespace and value of a business identifier.
pub type BusinessIdentifier = (String, String);

/// Sessions of one organisation, of one location, of both, or all that are left; and their targets.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Route {
    /// The organisation that the signer acts for.
    pub organisation: Option<BusinessIdentifier>,
    /// Where the session took place.
    pub location: Option<BusinessIdentifier>,
    /// Names of targets.
    pub targets: Vec<String>,
}

/// The targets of a site and the routes to them. Without a route every target gets every session.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Routes {
    targets: Vec<String>,
    routes: Vec<Route>,
}

/// Where a session comes from, as far as routes ask.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct From {
    /// The organisation that the signer acts for.
    pub organisation: Option<BusinessIdentifier>,
    /// Where it took place.
    pub location: Option<BusinessIdentifier>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RouteFile {
    organisation: Option<NamedFile>,
    location: Option<NamedFile>,
    targets: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NamedFile {
    system: String,
    value: String,
}

impl Routes {
    /// Every session goes to all of these.
    pub const fn to_all(targets: Vec<String>) -> Self {
        Self {
            targets,
            routes: Vec::new(),
        }
    }

    /// All targets of the site.
    pub fn targets(&self) -> &[String] {
        &self.targets
    }

    /// The targets of a session: those of the first route that fits, with its number from 1 where there
    /// are routes; nothing when none fits.
    pub fn of(&self, from: &From) -> Option<(&[String], Option<usize>)> {
        if self.routes.is_empty() {
            return Some((&self.targets, None));
        }
        let mut numbered = (1..).zip(&self.routes);
        let (number, route) = numbered.find(|(_, route)| route.fits(from))?;
        Some((&route.targets, Some(number)))
    }

    /// What is said of the sessions that a target gets; nothing when it gets none that is new.
    pub fn words_of(&self, target: &str) -> Option<String> {
        if self.routes.is_empty() {
            return Some("every session".to_owned());
        }
        let leads = |route: &&Route| route.targets.iter().any(|one| one == target);
        let words: Vec<String> = self.routes.iter().filter(leads).map(Route::words).collect();
        (!words.is_empty()).then(|| words.join("; "))
    }
}

impl Route {
    fn fits(&self, from: &From) -> bool {
        let fits = |wanted: &Option<BusinessIdentifier>, said: &Option<BusinessIdentifier>| {
            wanted.is_none() || wanted.as_ref() == said.as_ref()
        };
        fits(&self.organisation, &from.organisation) && fits(&self.location, &from.location)
    }

    fn words(&self) -> String {
        let of =
            |what: &str, named: &BusinessIdentifier| format!("{what} {} of {}", named.1, named.0);
        match (&self.organisation, &self.location) {
            (None, None) => "what no route before takes".to_owned(),
            (Some(one), None) => of("organisation", one),
            (None, Some(one)) => of("location", one),
            (Some(one), Some(two)) => {
                format!("{} at {}", of("organisation", one), of("location", two))
            }
        }
    }
}

pub(super) fn read(files: Vec<RouteFile>, targets: &[String]) -> Result<Routes, ConfigError> {
    let mut routes: Vec<Route> = Vec::new();
    for (number, file) in (1..).zip(files) {
        let wrong = |what| Err(ConfigError::Route(number, what));
        let route = Route {
            organisation: file.organisation.map(NamedFile::read),
            location: file.location.map(NamedFile::read),
            targets: file.targets,
        };
        if !route.is_named() {
            return wrong("an identifier has a system and a value, and neither may be empty");
        }
        if route.targets.is_empty() {
            return wrong("it leads to no target");
        }
        if !route.targets.iter().all(|one| targets.contains(one)) {
            return wrong("it leads to a target that is not among the [[target]] tables");
        }
        if twice(&route.targets) {
            return wrong("it names a target twice");
        }
        if routes.iter().any(|earlier| earlier.takes_all_of(&route)) {
            return wrong("a route before takes all of its sessions: put the narrower one first");
        }
        routes.push(route);
    }
    Ok(Routes {
        targets: targets.to_vec(),
        routes,
    })
}

fn twice(targets: &[String]) -> bool {
    let mut numbered = targets.iter().enumerate();
    numbered.any(|(at, one)| targets.iter().take(at).any(|two| two == one))
}

impl Route {
    /// True where every identifier it asks for has its parts.
    fn is_named(&self) -> bool {
        let named = [&self.organisation, &self.location].into_iter().flatten();
        let mut parts = named.flat_map(|(system, value)| [system, value]);
        parts.all(|part| !part.trim().is_empty())
    }

    /// True where whatever fits the other fits this one.
    fn takes_all_of(&self, other: &Self) -> bool {
        self.fits(&From {
            organisation: other.organisation.clone(),
            location: other.location.clone(),
        })
    }
}

impl NamedFile {
    fn read(self) -> BusinessIdentifier {
        (self.system, self.value)
    }
}

#[cfg(test)]
mod tests {
    use crate::service::config::Settings;
    use crate::service::config::route::{BusinessIdentifier, From};

    const TARGETS: &str = "state = 'x'\n[[target]]\nname='ward'\nbase='https://h'\n\
                           [[target]]\nname='region'\nbase='https://i'\n";
    const WARD: &str = "location = {system='urn:w', value='7'}\n";
    const HOUSE: &str = "organisation = {system='urn:o', value='1'}\n";

    fn read(routes: &[&str]) -> Result<Settings, String> {
        let mut text = TARGETS.to_owned();
        for route in routes {
            text.push_str("[[route]]\n");
            text.push_str(route);
            text.push('\n');
        }
        Settings::read(&text).map_err(|error| error.to_string())
    }

    fn named(system: &str, value: &str) -> BusinessIdentifier {
        (system.to_owned(), value.to_owned())
    }

    fn told(
        settings: &Settings,
        organisation: Option<BusinessIdentifier>,
        location: Option<BusinessIdentifier>,
    ) -> String {
        let from = From {
            organisation,
            location,
        };
        match settings.routes.of(&from) {
            Some((targets, number)) => format!("{} {number:?}", targets.join("+")),
            None => "none".to_owned(),
        }
    }

    #[test]
    fn without_a_route_every_target_gets_every_session() {
        let settings = read(&[]).expect("reads");

        assert_eq!(told(&settings, None, None), "ward+region None");
    }

    #[test]
    fn the_first_route_that_fits_says_the_targets_and_none_is_told() {
        let both = format!("{WARD}{HOUSE}targets = ['region', 'ward']");
        let ward = format!("{WARD}targets = ['ward']");
        let house = format!("{HOUSE}targets = ['region']");
        let settings = read(&[&both, &ward, &house]).expect("reads");

        let (seven, eight) = (named("urn:w", "7"), named("urn:w", "8"));
        let (one, two) = (named("urn:o", "1"), named("urn:o", "2"));
        for (organisation, location, leads) in [
            (Some(&one), Some(&seven), "region+ward Some(1)"),
            (Some(&two), Some(&seven), "ward Some(2)"),
            (Some(&one), None, "region Some(3)"),
            (Some(&one), Some(&eight), "region Some(3)"),
            (Some(&two), Some(&eight), "none"),
            (Some(&seven), Some(&one), "none"),
        ] {
            let said = told(&settings, organisation.cloned(), location.cloned());
            assert_eq!(said, leads, "{organisation:?} {location:?}");
        }
        assert_eq!(told(&settings, None, None), "none");
    }

    #[test]
    fn a_route_that_leads_nowhere_or_never_is_refused() {
        for (routes, told) in [
            (vec!["targets = []"], "route 1: it leads to no target"),
            (
                vec!["targets = ['moon']"],
                "route 1: it leads to a target that is not among",
            ),
            (
                vec!["targets = ['ward', 'ward']"],
                "route 1: it names a target twice",
            ),
            (
                vec![
                    "targets = ['ward']",
                    "location = {system='urn:w', value='7'}\ntargets = ['ward']",
                ],
                "route 2: a route before takes all of its sessions",
            ),
            (
                vec!["ward = 'a'\ntargets = ['ward']"],
                "unknown field `ward`",
            ),
            (
                vec!["location = {system=' ', value='7'}\ntargets = ['ward']"],
                "route 1: an identifier has a system and a value",
            ),
        ] {
            let error = read(&routes).err().unwrap_or_default();

            assert!(error.contains(told), "{routes:?}: {error}");
        }
    }

    #[test]
    fn what_a_target_gets_is_said_in_words_and_a_target_without_a_route_gets_nothing() {
        let settings = read(&[&format!("{WARD}targets = ['ward']")]).expect("reads");

        let words = settings.routes.words_of("ward");
        assert_eq!(words.as_deref(), Some("location 7 of urn:w"));
        assert_eq!(settings.routes.words_of("region"), None);
    }
}
