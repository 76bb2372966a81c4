//! The marks that both the plan and the roll use.

use leptos::prelude::*;
use shared_model::length::{Length, Units};

use super::space::Spot;
use crate::shown;

/// The number of a piece in its ring.
pub fn number_ring(number: &str, at: Spot) -> impl IntoView + use<> {
    view! {
        <circle class="breadth-ring" cx=at.x cy=at.y r=14 />
        <text class="breadth-number" x=at.x y=at.y>{number.to_owned()}</text>
    }
}

/// A problem at its place: what it says is its title.
pub fn problem_mark(text: String, work: bool, at: Spot) -> impl IntoView {
    let label = text.clone();
    view! {
        <g role="img" aria-label=label>
            <title>{text}</title>
            <circle class=if work { "mark-work" } else { "mark-problem" } cx=at.x cy=at.y r=11 />
            <text class="mark-text" class:mark-text-work=work x=at.x y=at.y>{if work { "…" } else { "!" }}</text>
        </g>
    }
}

/// The longest round length of the job's units that is drawn no longer than `most` pixels.
pub fn bar_length(scale: f64, most: f64, units: Units) -> Length {
    let steps = match units {
        Units::Imperial => [1, 2, 5, 10, 20, 50].map(Length::feet),
        Units::Metric => [200, 500, 1_000, 2_000, 5_000, 10_000].map(Length::mm),
    };
    let fitting = steps.iter().rev().find(|it| it.as_mm() * scale <= most);
    *fitting.unwrap_or(&steps[0])
}

/// The scale bar in the lower left corner of a window of this height.
pub fn scale_bar(scale: f64, height: f64, units: Units) -> impl IntoView {
    let length = bar_length(scale, 110.0, units);
    let (left, right, y) = (14.0, 14.0 + length.as_mm() * scale, height - 14.0);
    let text = match units {
        Units::Imperial => format!("{} ft", length.0 / Length::FOOT.0),
        Units::Metric => shown::length(length, units),
    };
    view! {
        <path class="scale-bar" d=format!("M{left} {0}V{y}H{right:.1}V{0}", y - 6.0) />
        <text class="halo start" x=left + 5.0 y=y - 12.0>{text}</text>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_scale_bar_is_a_round_length() {
        assert_eq!(bar_length(0.03, 110.0, Units::Imperial), Length::feet(10));
        assert_eq!(bar_length(0.03, 110.0, Units::Metric), Length::mm(2_000));
        assert_eq!(bar_length(9.0, 110.0, Units::Imperial), Length::feet(1), "too close for any: the least");
    }
}
