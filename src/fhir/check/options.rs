//! Options in the hint of a problem.

/// As many of a list are shown.
pub(super) const SHORT: usize = 12;

/// The first dozen of a list.
pub(super) fn shortened(all: &[&str]) -> String {
    let first: Vec<&str> = all.iter().take(SHORT).copied().collect();
    let more = if all.len() > first.len() { ", …" } else { "" };
    format!("{}{more}", first.join(", "))
}
