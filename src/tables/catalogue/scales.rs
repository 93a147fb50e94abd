//! What holds for a scale or word list as a whole.

use crate::tables::catalogue::rows::Scale;
use serde::Deserialize;

/// Whether the words of a list have an order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Order {
    /// Every word has a rank.
    Ordinal,
    /// No word has one.
    Nominal,
}

/// Which way along the ranks a finding is worse for the person.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Worsening {
    /// A higher rank.
    Up,
    /// A lower rank.
    Down,
    /// No direction may be called so.
    None,
}

/// One row of `scales.csv`.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct ScaleNote {
    /// The scale: a file of `scales/`.
    pub scale: String,
    /// Whether it has an order.
    pub order: Order,
    /// Which way is worse.
    pub worsening: Worsening,
    /// Who may claim the wording.
    pub copyright: String,
    /// Key of `SOURCES.toml`.
    pub source: String,
    /// Where in the source.
    pub locator: String,
}

impl ScaleNote {
    /// What the note says in words, for readers of the code system.
    pub fn told(&self) -> String {
        let order = match (self.order, self.worsening) {
            (Order::Nominal, _) => "The words have no order",
            (Order::Ordinal, Worsening::Up) => "Ordinal; a higher rank is worse",
            (Order::Ordinal, Worsening::Down) => "Ordinal; a lower rank is worse",
            (Order::Ordinal, Worsening::None) => {
                "Ordinal; neither direction is called worse or better"
            }
        };
        format!("{order}.")
    }

    /// What of a note disagrees with its list.
    pub(super) fn faults(&self, scale: &Scale) -> Vec<String> {
        let ranked = scale.rows.iter().filter(|row| row.rank.is_some()).count();
        let name = &self.scale;
        let mut faults = Vec::new();
        match self.order {
            Order::Ordinal if ranked < scale.rows.len() => {
                faults.push(format!("{name}: ordinal, but not every row has a rank"));
            }
            Order::Nominal if ranked > 0 => {
                faults.push(format!("{name}: nominal, but a row has a rank"));
            }
            Order::Ordinal | Order::Nominal => {}
        }
        if self.order == Order::Nominal && self.worsening != Worsening::None {
            faults.push(format!("{name}: worsening needs an order"));
        }
        faults
    }
}
