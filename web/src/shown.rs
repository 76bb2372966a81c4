//! Numbers as they are shown: lengths, areas and shares in the job's units.

use shared_model::job::Job;
use shared_model::length::{Length, Units};
use shared_model::polygon::{Area, AreaUnit};

/// A length in the job's units, to the nearest step of its style.
pub fn length(length: Length, units: Units) -> String {
    length.show(units.style())
}

/// A length with nothing rounded, in the job's units.
pub fn exact(length: Length, units: Units) -> String {
    match units {
        Units::Imperial => length.exact_text(),
        Units::Metric => format!("{} mm", length.as_mm()),
    }
}

/// What is ordered, or used of a roll: rounded up.
pub fn order(length: Length, units: Units) -> String {
    length.show_up(units.style())
}

/// A cut: rounded up, never to nearest, to the shop's cut step and to what can be written.
pub fn cut(length: Length, job: &Job) -> String {
    length.round_up_to(job.rules.cut_step).show_up(job.units.style())
}

/// A piece as cut, across and along the roll.
pub fn size(width: Length, length: Length, job: &Job) -> String {
    format!("{} × {}", cut(width, job), cut(length, job))
}

/// An area in square feet or square metres.
pub fn area(area: Area, units: Units) -> String {
    area.show(match units {
        Units::Imperial => AreaUnit::SquareFeet,
        Units::Metric => AreaUnit::SquareMetres,
    })
}

/// An area as it is ordered: in square yards or square metres.
pub fn ordered(area: Area, units: Units) -> String {
    area.show(match units {
        Units::Imperial => AreaUnit::SquareYards,
        Units::Metric => AreaUnit::SquareMetres,
    })
}

/// What part of the whole, in percent. A whole of nothing has no parts.
pub fn share(part: Area, whole: Area) -> String {
    if whole == Area::ZERO {
        return "0 %".to_owned();
    }
    format!("{:.1} %", 100.0 * part.0 as f64 / whole.0 as f64)
}

/// `1 seam`, `2 seams`.
pub fn count(n: usize, one: &str, many: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {many}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn areas_are_shown_in_the_jobs_units() {
        let square = |side: Length| side * side;
        assert_eq!(area(square(Length::feet(12)), Units::Imperial), "144.00 sq ft");
        assert_eq!(area(square(Length::METRE), Units::Metric), "1.00 m²");
        assert_eq!(share(square(Length::feet(1)), square(Length::feet(2))), "25.0 %");
        assert_eq!(share(Area::ZERO, Area::ZERO), "0 %");
    }

    #[test]
    fn one_is_not_many() {
        assert_eq!(count(1, "seam", "seams"), "1 seam");
        assert_eq!(count(0, "seam", "seams"), "0 seams");
    }
}
