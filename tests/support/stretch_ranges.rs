#![cfg(test)]
//! The tables of a site that has measured ranges of slow stretches itself: no published table has them.

use fascicle::tables::catalogue::overlay::Overlay;
use fascicle::tables::catalogue::{Catalogue, TableFile};
use std::sync::LazyLock;

const RANGES: &str = include_str!("../../profiles/reference_ranges.csv");

/// Ranges invented for tests: of the calf 5 to 20 degrees, of the elbow flexors -10 to 5.
pub(crate) fn with_own_ranges() -> &'static Catalogue {
    static OWN: LazyLock<Catalogue> = LazyLock::new(|| {
        let row = |muscle: &str, low: &str, high: &str| {
            format!(
                "zz-{muscle},invented,stretch.slow.{muscle},any,goniometry,any,any,none,none,\
                 percentile-5-95,none,none,{low},{high},deg,on,invented for a test,local,invented,2026-11-28\n"
            )
        };
        let rows = row("calf", "5", "20") + &row("elbow-flexors", "-10", "5");
        let text = format!("{RANGES}{rows}");
        let own = [TableFile {
            name: "reference_ranges.csv",
            text: &text,
        }];
        let mut catalogue = Overlay::new(&own).read().expect("the tables hold");
        catalogue
            .use_reference_tables(&["invented".to_owned()])
            .expect("it is there");
        catalogue
    });
    &OWN
}
