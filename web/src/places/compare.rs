//! Layouts in words: what one costs and saves against the first, and what its pile does.

use shared_model::floor::Floor;
use shared_model::job::Job;
use shared_model::layout::{Layout, PileDirection, Seam, SeamKind};
use shared_model::length::{Length, Units};

use crate::reason::Because;
use crate::shown;

/// What `layout` costs and saves against `first`: one or two sentences.
pub fn against_first(layout: &Layout, first: &Layout, units: Units) -> String {
    if layout.key == first.key {
        return "The first of the list: the others are measured against it.".to_owned();
    }
    let roll = (layout.order - first.order, "roll");
    let seam = (layout.seam_length - first.seam_length, "seam");
    let points = layout.seam_cost - first.seam_cost;
    let mut costs = Vec::new();
    let mut saves = Vec::new();
    for (difference, of) in [roll, seam] {
        let words = format!("{} of {of}", shown::length(difference.abs(), units));
        match difference.0 {
            1.. => costs.push(words),
            0 => {}
            _ => saves.push(words),
        }
    }
    match points {
        1.. => costs.push(seam_points(points)),
        0 => {}
        _ => saves.push(seam_points(-points)),
    }
    let sentence = |verb: &str, words: &[String]| (!words.is_empty()).then(|| format!("{verb} {}.", and(words)));
    let sentences: Vec<String> = [sentence("Costs", &costs), sentence("Saves", &saves)].into_iter().flatten().collect();
    if sentences.is_empty() { "As long and with the same seams as the first.".to_owned() } else { sentences.join(" ") }
}

/// `1 seam point`: how much worse the seams lie.
pub fn seam_points(points: i64) -> String {
    if points == 1 { "1 seam point".to_owned() } else { format!("{points} seam points") }
}

/// `a`, `a and b`, `a, b and c`.
fn and(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

pub fn pile_words(pile: PileDirection) -> String {
    format!("{} on the plan", pile.way())
}

/// Each nap group of a layout: where its pile runs, and its rooms' and flights' names.
pub fn piles(layout: &Layout, floor: &Floor, job: &Job) -> Vec<(PileDirection, String)> {
    let groups = layout.groups.iter().filter_map(|it| {
        let group = floor.groups.get(it.group)?;
        let rooms = group.rooms.iter().filter_map(|id| job.room(*id).map(|room| room.name.clone()));
        let flights =
            group.flights.iter().filter_map(|id| job.flights.iter().find(|it| it.id == *id).map(|it| it.name.clone()));
        Some((it.pile, rooms.chain(flights).collect::<Vec<_>>().join(", ")))
    });
    groups.collect()
}

/// What is proven about the roll's length.
pub fn bound_words(layout: &Layout, units: Units) -> String {
    let roll = &layout.roll;
    if layout.optimal() {
        return "Proven shortest: these pieces fit on no shorter roll.".to_owned();
    }
    if layout.more_rolls().next().is_some() {
        return "Divided among several rolls: not proven shortest.".to_owned();
    }
    let gap = roll.length - roll.lower_bound;
    let percent = 100.0 * gap.as_mm() / roll.lower_bound.as_mm().max(1.0);
    format!(
        "Not proven shortest: no arrangement of these pieces is shorter than {}; this one is {} ({percent:.1} %) longer.",
        shown::length(roll.lower_bound, units),
        shown::length(gap, units)
    )
}

/// How long each roll is, and what to ask of the supplier.
pub fn several_rolls(layout: &Layout, job: &Job) -> Option<String> {
    let lengths: Vec<String> = layout.rolls().iter().map(|it| shown::order(it.1, job.units)).collect();
    let rolls = (lengths.len() > 1).then(|| format!("In {} rolls: {}. ", lengths.len(), lengths.join(", ")));
    let dye = if layout.parted {
        "Carpet that meets comes from two rolls or dye lots, as none is long enough: order one dye lot, and compare them side by side before the first cut."
    } else {
        "Order them of one dye lot; where they are not, no two of them meet."
    };
    (rolls.is_some() || layout.parted).then(|| rolls.unwrap_or_default() + dye)
}

/// How the order length came about.
pub fn order_reason(layout: &Layout, job: &Job, increment: Length, minimum: Length) -> Because {
    let units = job.units;
    let length = |it| shown::length(it, units);
    let mut because = Because::default().with("The last piece ends at", shown::exact(layout.roll.length, units));
    for it in layout.more_rolls() {
        because = because.with(&format!("On {}", it.name), shown::exact(it.roll.length, units));
    }
    if increment > Length::ZERO {
        because = because.with("Sold in steps of", length(increment));
    }
    if minimum > Length::ZERO {
        because = because.with("Sold from", length(minimum));
    }
    because = because
        .with("Order", shown::order(layout.order, units))
        .with("Roll width", length(layout.roll.width))
        .with("Floor to cover", shown::area(layout.net, units))
        .with("Ordered", shown::area(layout.ordered, units));
    if layout.carpet > layout.ordered {
        because = because.with("Used of other carpet", shown::area(layout.carpet - layout.ordered, units));
    }
    because = because.with(
        "Waste",
        format!("{} ({})", shown::area(layout.waste(), units), shown::share(layout.waste(), layout.carpet)),
    );
    if layout.more_rolls().next().is_none() {
        because = because.with("No plan is shorter than", shown::exact(layout.roll.lower_bound, units));
    }
    because.rule = format!(
        "The pieces are placed on the roll without turning any; the plan's length is rounded up to what the supplier sells. {}",
        bound_words(layout, units)
    );
    because.source = "the goods' own selling terms; the bound is computed with the plan".to_owned();
    because
}

/// A seam's kind in words.
pub const fn seam_name(kind: SeamKind) -> &'static str {
    match kind {
        SeamKind::Side => "Seam along the pile",
        SeamKind::Cross => "Cross seam",
        SeamKind::Opening => "Seam in the opening",
    }
}

/// All points of one seam.
pub fn seam_cost(seam: &Seam) -> i64 {
    seam.costs.iter().map(|it| it.points).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::places::fixture::layout;

    #[test]
    fn a_layout_is_compared_with_the_first() {
        let first = layout("a", Length::feet(50), Length::feet(24), 40);
        let longer = layout("b", Length::feet(53), Length::feet(12), 15);
        assert_eq!(
            against_first(&longer, &first, Units::Imperial),
            "Costs 3' 0\" of roll. Saves 12' 0\" of seam and 25 seam points."
        );
        let worse = layout("c", Length::feet(50), Length::feet(24), 41);
        assert_eq!(against_first(&worse, &first, Units::Imperial), "Costs 1 seam point.");
        let same = layout("d", Length::feet(50), Length::feet(24), 40);
        assert_eq!(against_first(&same, &first, Units::Imperial), "As long and with the same seams as the first.");
        assert!(against_first(&first, &first, Units::Imperial).starts_with("The first of the list"));
    }

    #[test]
    fn shortest_is_claimed_only_when_proven() {
        let mut shown = layout("a", Length::feet(50), Length::ZERO, 0);
        shown.roll.length = Length::feet(50);
        shown.roll.lower_bound = Length::feet(50);
        assert!(bound_words(&shown, Units::Imperial).starts_with("Proven shortest"));
        shown.roll.lower_bound = Length::feet(40);
        let words = bound_words(&shown, Units::Imperial);
        assert!(
            words.starts_with("Not proven") && words.contains("40' 0\"") && words.contains("10' 0\" (25.0 %)"),
            "{words}"
        );
    }

    #[test]
    fn words_are_joined_as_people_do() {
        let words = |n: usize| and(&["a", "b", "c"][..n].iter().map(|it| (*it).to_owned()).collect::<Vec<_>>());
        assert_eq!([words(0), words(1), words(2), words(3)], ["", "a", "a and b", "a, b and c"]);
    }
}
