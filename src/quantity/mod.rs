//! Units, figures as people write them, and their uncertainty.
//!
//! In: text such as `48.1 48.0 48.3 48.2 ±0.2 cc` and the [`QuantityKind`] that is expected, or plain numbers with a
//! [`Unit`]. Out: a [`Reading`], which keeps the text to the digit and knows what it means, and [`Quantity`], one
//! finite value in SI. Refuses: a unit of another kind, a number without its unit, anything that could be read in two
//! ways (a decimal comma, a range), and values that are not finite.
//!
//! A kind is more than a dimension: torque is not energy, gauge pressure is not absolute pressure, and a difference of
//! temperature is not a temperature. [`Quantity::minus`] of two temperatures gives a difference, [`Quantity::plus`]
//! adds a difference to a temperature, and nothing else mixes the two.

mod error;
mod kind;
mod number;
mod parse;
mod reading;
mod scan;
mod show;
mod table;
mod uncertainty;
mod unit;
mod value;

pub use error::{Mismatch, QuantityError};
pub use kind::{Dimension, QuantityKind};
pub use number::Number;
pub use parse::parse_reading;
pub use reading::{Reading, Spread};
pub use uncertainty::{
    StandardUncertainty, StatedUncertainty, Uncertainty, UncertaintyBasis, parse_uncertainty,
};
pub use unit::{CrankReference, Unit};
pub use value::Quantity;

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use proptest::sample::select;

    use super::*;

    fn any_kind() -> impl Strategy<Value = QuantityKind> {
        select(QuantityKind::ALL.to_vec())
    }

    fn any_unit() -> impl Strategy<Value = (QuantityKind, &'static Unit)> {
        any_kind().prop_flat_map(|kind| (Just(kind), select(kind.units())))
    }

    /// A number as someone writes it, above any absolute zero in every unit.
    fn written_number() -> impl Strategy<Value = String> {
        prop_oneof![
            (0_u32..100_000, 0_usize..6).prop_map(|(digits, decimals)| {
                format!("{:.decimals$}", f64::from(digits) / 10_f64.powi(decimals as i32))
            }),
            "[0-9]{1,3}\\.[0-9]{1,4}",
            "\\.[0-9]{1,4}",
            "[1-9]{1,2}-[1-7]/(8|16|32|64)",
            "[1-9](\\.[0-9]{1,3})?e[0-3]",
        ]
    }

    /// A written figure: values, unit, perhaps a limit.
    fn written_figure() -> impl Strategy<Value = (String, QuantityKind)> {
        let limit = prop_oneof![
            Just(String::new()),
            Just(" ±0.2".to_owned()),
            Just(" +/- 1/64".to_owned()),
            Just(" ±.05 k=2".to_owned()),
        ];
        (any_unit(), prop::collection::vec(written_number(), 1..6), limit)
            .prop_map(|((kind, unit), numbers, limit)| (format!("{} {unit}{limit}", numbers.join(" ")), kind))
    }

    proptest! {
        #[test]
        fn a_figure_shown_and_read_again_is_the_same((text, kind) in written_figure()) {
            let reading = parse_reading(&text, kind, None).unwrap();
            prop_assert_eq!(reading.to_string(), text.trim());
            let again = parse_reading(&reading.to_string(), kind, None).unwrap();
            prop_assert_eq!(&again, &reading);
            let own = reading.show_in(reading.unit()).unwrap();
            let own = parse_reading(&own, kind, None).unwrap();
            prop_assert_eq!(own.values(), reading.values());
        }

        #[test]
        fn a_figure_in_another_unit_is_the_same_figure(
            (text, kind) in written_figure(),
            choice in any::<prop::sample::Index>(),
        ) {
            let reading = parse_reading(&text, kind, None).unwrap();
            let units = kind.units();
            let shown = reading.show_in(units[choice.index(units.len())]).unwrap();
            // Rounding to a neighbouring power of ten may carry a perfect vacuum or absolute zero below itself.
            if let Ok(again) = parse_reading(&shown, kind, None) {
                for ((one, other), number) in reading.values().iter().zip(again.values()).zip(reading.numbers()) {
                    // The step shown is at most √10 coarser than the written one, so it is off by √10/2 steps at most.
                    let step = reading.unit().width_to_si(2.0 * number.half_last_digit());
                    let off = (one.si() - other.si()).abs();
                    prop_assert!(off <= 1.6 * step + 1e-9 * one.si().abs(), "{text} became {shown}");
                }
            } else {
                prop_assert!(kind.is_absolute(), "{text} became {shown}");
            }
        }

        #[test]
        fn a_value_survives_any_unit_and_back(
            (kind, unit) in any_unit(),
            value in 0.0_f64..1e6,
            choice in any::<prop::sample::Index>(),
        ) {
            let quantity = Quantity::of(value, unit, kind).unwrap();
            let units = kind.units();
            let other = units[choice.index(units.len())];
            let back = Quantity::of(quantity.in_unit(other).unwrap(), other, kind).unwrap();
            // Scales with an origin of their own lose what lies below the last bit of the larger number.
            let size = quantity.si().abs() + unit.width_to_si(unit.origin()) + other.width_to_si(other.origin());
            prop_assert!((back.si() - quantity.si()).abs() <= 1e-14 * size);
            let own = quantity.in_unit(unit).unwrap();
            prop_assert!((own - value).abs() <= 1e-14 * (value + unit.origin().abs()));
        }

        #[test]
        fn what_is_equal_does_not_depend_on_the_unit(
            kind in any_kind(),
            value in 1.0_f64..1e4,
            apart in 0.0_f64..4.0,
            choice in any::<prop::sample::Index>(),
        ) {
            let units = kind.units();
            let (unit, other) = (kind.si_unit(), units[choice.index(units.len())]);
            let read = |value: f64, limit: f64, unit: &'static Unit| {
                parse_reading(&format!("{value} ±{limit}"), kind, Some(unit)).unwrap()
            };
            let reading = read(value, 0.5, unit);
            // Twice √2·0.5/√3 apart is the boundary; stay off it.
            prop_assume!((apart - 2.0 * (0.5_f64 / 3.0).sqrt()).abs() > 1e-3);
            let next = Quantity::new(kind, value + apart).unwrap();
            let here = read(value + apart, 0.5, unit);
            let there = read(next.in_unit(other).unwrap(), other.width_from_si(0.5), other);
            prop_assert_eq!(
                reading.same_within_uncertainty(&here),
                reading.same_within_uncertainty(&there)
            );
        }

        #[test]
        fn the_spread_holds_the_mean((text, kind) in written_figure()) {
            let reading = parse_reading(&text, kind, None).unwrap();
            let spread = reading.spread();
            let slack = 1e-12 * (spread.smallest.si().abs() + spread.largest.si().abs());
            prop_assert!(spread.smallest.si() <= reading.mean().si() + slack);
            prop_assert!(reading.mean().si() <= spread.largest.si() + slack);
        }

        #[test]
        fn no_text_brings_it_down(text in any::<String>(), kind in any_kind()) {
            let _ = parse_reading(&text, kind, None);
            let _ = parse_reading(&text, kind, Some(kind.si_unit()));
            let _ = parse_uncertainty(&text, kind);
            let _ = Unit::parse(&text, kind);
            let _ = Number::parse(&text);
        }

        #[test]
        fn nothing_that_looks_like_a_figure_brings_it_down(
            text in "[-+−±/.,eEkK=0-9 °\"%:()a-zµ³½–\u{a0}]{0,24}",
            kind in any_kind(),
        ) {
            if let Ok(reading) = parse_reading(&text, kind, Some(kind.si_unit())) {
                prop_assert!(!reading.numbers().is_empty());
                prop_assert!(reading.mean().si().is_finite());
                prop_assert!(reading.standard_uncertainty().si > 0.0);
                let _ = reading.spread();
                for unit in kind.units() {
                    prop_assert!(reading.show_in(unit).is_ok());
                }
            }
            let _ = parse_uncertainty(&text, kind);
        }
    }
}
