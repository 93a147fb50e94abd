//! Sealed values about people.
//!
//! Owns: the wrapper that keeps names, identifiers and notes out of logs, metrics and panics, and
//! reading secrets from files that are their owner's. In: any value. Out: the value, only through
//! [`Private::open`], which can be searched for. Never: prints what it holds.

pub mod secret;

use std::fmt;

/// A value about a person. `Debug` prints `[private]`; there is no `Display`.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Private<T>(T);

impl<T> Private<T> {
    /// Seals a value.
    pub const fn new(value: T) -> Self {
        Self(value)
    }

    /// Opens the seal: every use of this name is a place where a person's data travels.
    pub const fn open(&self) -> &T {
        &self.0
    }

    /// The same where the seal is not needed any more, so that nothing large is copied.
    pub fn opened(self) -> T {
        self.0
    }
}

impl<T> fmt::Debug for Private<T> {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("[private]")
    }
}

#[cfg(test)]
mod tests {
    use super::Private;

    #[test]
    fn a_sealed_value_never_prints_what_it_holds() {
        let sealed = Private::new("Zebrafinch".to_owned());

        let printed = format!("{sealed:?} {:?}", Some(&sealed));

        assert_eq!(printed, "[private] Some([private])");
        assert_eq!(sealed.open(), "Zebrafinch");
    }
}
