#![cfg(test)]
//! Three numbers say the two ends of a plane, and the two ends the three numbers.

use crate::few;
use fascicle::base::exact::Exact;
use fascicle::examination::finding::notation::{Ends, Place, read, write};
use proptest::prelude::{any, prop_assert, prop_assert_eq, proptest};

const DIGITS: &str = r"(0|[1-9][0-9]{0,2})(\.[0-9]{1,4})?";

fn exact(text: &str) -> Exact {
    Exact::parse(text).expect("digits")
}

proptest! {
    #![proptest_config(few(512))]

    #[test]
    fn what_is_written_is_read_as_the_same_ends(a in DIGITS, b in DIGITS, lacks in any::<bool>()) {
        let first = if lacks { exact(&a).negated() } else { exact(&a) };
        let ends = Ends::Arc(first, exact(&b));

        if let Some(text) = write(&ends) {
            prop_assert!(read(&text).expect("it reads").ends == ends, "{text}");
            // The digits are kept as they were.
            prop_assert!(text.contains(&a) && text.contains(&b), "{text}");
        } else {
            // Nothing moves between the ends, or nothing at all.
            prop_assert!(first.plus(exact(&b)).is_ok_and(|arc| arc.is_zero() || arc.is_negative()));
        }
    }

    #[test]
    fn a_joint_is_fixed_on_the_side_it_was_written_on(a in DIGITS, last in any::<bool>()) {
        let place = if last { Place::Last } else { Place::First };
        let text = write(&Ends::Fixed(exact(&a), place)).expect("it is written");

        let Ends::Fixed(at, side) = read(&text).expect("it reads").ends else {
            panic!("{text} is read as an arc")
        };
        prop_assert_eq!(at, exact(&a));
        prop_assert!(side == place || at.is_zero());
    }

    #[test]
    fn the_order_turned_round_turns_the_ends_round(a in DIGITS, b in DIGITS, c in DIGITS) {
        let (text, turned) = (format!("{a}-{b}-{c}"), format!("{c}-{b}-{a}"));

        match (read(&text), read(&turned)) {
            (Ok(one), Ok(other)) => {
                let same = match (one.ends, other.ends) {
                    (Ends::Arc(a, b), Ends::Arc(d, c)) => (a, b) == (c, d),
                    (Ends::Fixed(a, p), Ends::Fixed(b, q)) => a == b && (p != q || a.is_zero()),
                    _ => false,
                };
                prop_assert!(same, "{text}");
            }
            (one, other) => prop_assert_eq!(one.err(), other.err()),
        }
    }

    #[test]
    fn no_text_makes_it_fall_over(text in any::<String>()) {
        let _read = read(&text);
    }
}
