//! Items of lists: those that read, keys that stand once, and identities.

use crate::base::code::Code;
use crate::base::problem::Problems;
use std::collections::BTreeMap;
use uuid::Uuid;

pub(super) fn uuid(text: &str, path: &str, problems: &mut Problems) -> Option<Uuid> {
    match Uuid::parse_str(text) {
        Ok(uuid) => Some(uuid),
        Err(_not_one) => {
            problems.error(
                Code::IdForm,
                path,
                format!("{text} is no UUID"),
                "write a UUID",
            );
            None
        }
    }
}

/// Tells every key that stands twice in a list of keyed things.
pub(super) fn keys_once<'a>(
    list: &str,
    keys: impl Iterator<Item = (usize, &'a str)>,
    problems: &mut Problems,
) {
    let mut seen = BTreeMap::new();
    for (index, key) in keys {
        if let Some(first) = seen.insert(key.to_owned(), index) {
            let what = format!("the same as {list}/{first}");
            let hint = "keep one of them, or give each its own";
            problems.error(Code::ListTwice, &format!("{list}/{index}"), what, hint);
        }
    }
}

/// The items of a list that could be read, with their places.
pub(super) fn readable<T>(items: &[Option<T>]) -> impl Iterator<Item = (usize, &T)> {
    items
        .iter()
        .enumerate()
        .filter_map(|(index, item)| item.as_ref().map(|item| (index, item)))
}
