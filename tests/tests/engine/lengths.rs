//! Lengths: what crews write, what is refused and why, exactness, display, rounding up.

use proptest::prelude::*;
use shared_model::length::{Length, LengthError, Style, Units};

const BOTH: [Units; 2] = [Units::Imperial, Units::Metric];

#[track_caller]
fn reads(text: &str, units: Units, counts: i64) {
    assert_eq!(Length::parse(text, units), Ok(Length(counts)), "{text:?} in {units:?}");
}

#[track_caller]
fn refused(text: &str, units: Units, says: &str) {
    match Length::parse(text, units) {
        Ok(length) => panic!("{text:?} in {units:?} was read as {}", length.exact_text()),
        Err(error) => assert!(error.to_string().contains(says), "{text:?}: {error}"),
    }
}

/// The international inch is 25.4 mm exactly (NIST SP 811, appendix B.8), so one is 203 200 counts of 1/8 µm.
#[test]
fn the_unit_holds_tape_fractions_and_millimetres_exactly() {
    assert_eq!(Length::INCH, Length(254 * 800));
    assert_eq!(Length::sixty_fourths(64), Length::INCH);
    assert_eq!(Length::inches(5), Length::mm(127));
    assert_eq!(Length::FOOT, Length(3_048 * 800));
}

#[test]
fn feet_and_inches_are_read_in_every_job() {
    let half = 12 * 2_438_400 + 4 * 203_200 + 101_600;
    for units in BOTH {
        for text in [
            "12' 4 1/2\"",
            "12'4 1/2\"",
            "12' 4-1/2\"",
            "12'-4 1/2\"",
            "12' 4 1/2",
            "12' 4½\"",
            "12’ 4 1/2”",
            "12′ 4 1/2″",
            "12' 4 1⁄2''",
            "12 ft 4 1/2 in",
            "12ft4.5in",
            "12 feet 4.5 inches",
            "12 FT. 4 1/2 IN.",
            "12 4 1/2\"",
            "12-4 1/2\"",
            "148.5\"",
            "148 1/2\"",
            "148,5 in",
            "12.375'",
            "12.375 ft",
            "12,3750'",
            " 12'\u{a0}4\u{2009}1/2\" ",
        ] {
            reads(text, units, half);
        }
        reads("12'", units, 12 * 2_438_400);
        reads("12' 0\"", units, 12 * 2_438_400);
        reads("0' 4\"", units, 4 * 203_200);
        reads("1/64\"", units, 3_175);
        reads(".5\"", units, 101_600);
        reads("12 1/2'", units, 25 * 1_219_200);
        reads("0", units, 0);
    }
}

#[test]
fn metric_is_read_in_every_job() {
    for units in BOTH {
        for text in [
            "3.76 m",
            "3,76 m",
            "3.76m",
            "3.76 metres",
            "376 cm",
            "376.0 cm",
            "3760 mm",
            "3760MM",
            "3 m 76 cm",
            "3 m 760 mm",
        ] {
            reads(text, units, 3_760 * 8_000);
        }
        reads("0.000125 mm", units, 1);
    }
}

#[test]
fn bare_numbers_are_in_the_units_of_the_job() {
    reads("12-4-1/2", Units::Imperial, 12 * 2_438_400 + 4 * 203_200 + 101_600);
    reads("12 4 1/2", Units::Imperial, 12 * 2_438_400 + 4 * 203_200 + 101_600);
    reads("12 4", Units::Imperial, 12 * 2_438_400 + 4 * 203_200);
    reads("12-4", Units::Imperial, 12 * 2_438_400 + 4 * 203_200);
    reads("0 4", Units::Imperial, 4 * 203_200);
    reads("3/8", Units::Imperial, 76_200);
    reads("3760", Units::Metric, 3_760 * 8_000);
}

#[test]
fn ambiguous_entries_are_refused_with_what_they_could_mean() {
    let readings = |text: &str, units| match Length::parse(text, units) {
        Err(LengthError::Ambiguous { readings, .. }) => readings,
        other => panic!("{text:?}: {other:?}"),
    };
    assert_eq!(readings("12", Units::Imperial), ["12'", "12\""]);
    assert_eq!(readings("148.5", Units::Imperial), ["148.5'", "148.5\""]);
    assert_eq!(readings("4 1/2", Units::Imperial), ["4 1/2\"", "4' 0 1/2\""]);
    assert_eq!(readings("3.76", Units::Metric), ["3.76 m", "3.76 mm"]);
    assert_eq!(readings("3,760 mm", Units::Metric), ["3.760 mm", "3760 mm"]);
    assert_eq!(readings("12,375'", Units::Imperial), ["12.375'", "12375'"]);
    refused("12", Units::Imperial, "12 could mean 12' or 12\": enter it with its unit");
}

#[test]
fn nonsense_is_refused_with_the_reason() {
    for units in BOTH {
        refused("", units, "no length");
        refused("  ", units, "no length");
        refused("abc", units, "abc is not understood");
        refused("12 yd", units, "not understood");
        refused("12'' 4'", units, "not understood");
        refused("12' 4' 3'", units, "not understood");
        refused("12' 100 mm", units, "not understood");
        refused("1.2.3 m", units, "not understood");
        refused("1/2 m", units, "not understood");
        refused("4.5 1/2\"", units, "not understood");
        refused("12' -", units, "not understood");
        refused("+5\"", units, "not understood");
        refused("4 1/\"", units, "not understood");
        refused("12' 4 1/3\"", units, "1/3 is on no tape");
        refused("12' 4 1/0\"", units, "1/0 is on no tape");
        refused("12' 4 8/8\"", units, "8/8 is not less than one");
        refused("12' 14\"", units, "14\" does not fit after 12': it must be less than one foot");
        refused("3 m 100 cm", units, "100 cm does not fit after 3 m: it must be less than one metre");
        refused("12.5' 4\"", units, "12.5' has decimals or a fraction");
        refused("-4\"", units, "not negative");
        refused("−4\"", units, "not negative");
        refused("10001 m", units, "longer than 10 km");
        refused("999999999999999999 m", units, "longer than 10 km");
        refused("99999999999999999999 mm", units, "18 digits");
        refused(&"1".repeat(65), units, "64 characters");
    }
    refused("12 14", Units::Imperial, "14\" does not fit after 12'");
    refused("12 4", Units::Metric, "not understood");
}

#[test]
fn decimals_beyond_a_count_are_rounded_to_the_nearest() {
    // 0.333 in is 67 665.6 counts, 12.333 ft is 30 072 787.2.
    reads("0.333\"", Units::Imperial, 67_666);
    reads("12.333'", Units::Imperial, 30_072_787);
    reads("0.0000625 mm", Units::Metric, 1);
    reads("0.0000624 mm", Units::Metric, 0);
}

#[test]
fn lengths_are_shown_to_the_nearest_of_the_style() {
    let feet = |finest| Style::FeetInches { finest };
    let length = Length::feet(12) + Length::inches(4) + Length::sixty_fourths(33);
    assert_eq!(length.show(feet(64)), "12' 4 33/64\"");
    assert_eq!(length.show(feet(16)), "12' 4 1/2\"");
    assert_eq!(length.show(feet(2)), "12' 4 1/2\"");
    assert_eq!(length.show(feet(1)), "12' 5\"");
    assert_eq!((Length::feet(1) - Length::sixty_fourths(1)).show(feet(16)), "1' 0\"");
    assert_eq!(Length::sixty_fourths(32).show(feet(16)), "1/2\"");
    assert_eq!((-Length::sixty_fourths(88)).show(feet(8)), "-1 3/8\"");
    assert_eq!(Length::ZERO.show(feet(16)), "0\"");
    assert_eq!(Length::mm(3_760).show(Style::Metres), "3.760 m");
    assert_eq!(Length::mm(3_760).show(Style::Centimetres), "376.0 cm");
    assert_eq!(Length::mm(3_760).show(Style::Millimetres), "3760 mm");
    assert_eq!(Length(8_000 * 7 + 4_000).show(Style::Millimetres), "8 mm");
    assert_eq!((-Length::mm(5)).show(Style::Metres), "-0.005 m");
}

#[test]
fn exact_text_rounds_nothing() {
    assert_eq!(Length::mm(3_760).exact_text(), "3760 mm");
    assert_eq!(Length::mm(127).exact_text(), "5\"");
    assert_eq!(Length(1).exact_text(), "0.000125 mm");
    assert_eq!(Length(-8_001).exact_text(), "-1.000125 mm");
    assert_eq!((Length::feet(23) + Length::inches(4) + Length::sixty_fourths(8)).exact_text(), "23' 4 1/8\"");
}

#[test]
fn cuts_and_orders_round_up() {
    let eighth = Length::sixty_fourths(8);
    assert_eq!(Length::sixty_fourths(9).round_up_to(eighth), Length::sixty_fourths(16));
    assert_eq!(Length::sixty_fourths(16).round_up_to(eighth), Length::sixty_fourths(16));
    assert_eq!((Length::inches(1) + Length(1)).round_up_to(Length::inches(6)), Length::inches(6));
    assert_eq!(Length::mm(3_761).round_up_to(Length::mm(5)), Length::mm(3_765));
    assert_eq!(Length::mm(3_761).round_up_to(Length::ZERO), Length::mm(3_761));
    let cut = Length::inches(104) + Length::sixty_fourths(32);
    assert_eq!(cut.show(Style::Metres), "2.654 m", "0.3 mm short");
    assert_eq!(cut.show_up(Style::Metres), "2.655 m");
    assert_eq!(cut.show_up(Units::Imperial.style()), "8' 8 1/2\"");
}

fn styles() -> impl Strategy<Value = Style> {
    prop_oneof![
        (0..=6_u32).prop_map(|power| Style::FeetInches { finest: 1 << power }),
        Just(Style::Metres),
        Just(Style::Centimetres),
        Just(Style::Millimetres),
    ]
}

fn entries() -> impl Strategy<Value = String> {
    prop_oneof![
        "\\PC*",
        "[0-9 .,/'\"½⅜’″–-]{0,20}( ?(m|cm|mm|ft|in))?",
        "[0-9]{1,3}[' -][0-9]{1,2}[ -]?[0-9]?/?[0-9]{0,2}\"?"
    ]
}

proptest! {
    #[test]
    fn what_is_shown_parses_back(counts in 0..=Length::MOST.0, style in styles()) {
        let shown = Length(counts).round_to(style.step());
        prop_assume!(shown <= Length::MOST);
        for units in BOTH {
            prop_assert_eq!(Length::parse(&Length(counts).show(style), units), Ok(shown));
        }
    }

    #[test]
    fn exact_text_parses_back(counts in 0..=Length::MOST.0, fraction in 0..10_000_000_i64) {
        for length in [Length(counts), Length::sixty_fourths(fraction), Length::mm(fraction)] {
            for units in BOTH {
                prop_assert_eq!(Length::parse(&length.exact_text(), units), Ok(length));
            }
        }
    }

    #[test]
    fn any_text_is_a_sane_length_or_an_error(text in entries()) {
        for units in BOTH {
            match Length::parse(&text, units) {
                Ok(length) => prop_assert!((Length::ZERO..=Length::MOST).contains(&length)),
                Err(LengthError::Ambiguous { readings, .. }) => {
                    prop_assert!(readings.len() == 2);
                    for reading in readings {
                        let read = Length::parse(&reading, units);
                        prop_assert!(!matches!(read, Err(LengthError::Ambiguous { .. } | LengthError::Unreadable(_))), "{reading}: {read:?}");
                    }
                }
                Err(error) => prop_assert!(!error.to_string().is_empty()),
            }
        }
    }

    #[test]
    fn rounding_up_is_least(counts in 0..=Length::MOST.0, step in 1..10_000_000_i64) {
        let up = Length(counts).round_up_to(Length(step));
        prop_assert!(up.0 % step == 0 && up.0 >= counts && up.0 - counts < step);
    }
}
