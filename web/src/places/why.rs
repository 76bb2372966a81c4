//! Why the numbers of the room on the screen are what they are: the readings, the rule and its source, one tap away.

use leptos::prelude::*;
use shared_model::ids::WallId;
use shared_model::job::{Across, Job, Reading, Tool};
use shared_model::length::{Length, Units};
use shared_model::survey::{Amount, CutOf, Judged, OUTLIER, Source};

use super::measure::Measuring;
use crate::checking;
use crate::known::Known;
use crate::measuring::{Aim, wall_name};
use crate::proposal::unread_words;
use crate::reason::{Because, body};
use crate::sheet::Sheet;
use crate::shown;
use crate::when::clock;

/// The reason of what is picked, or of the room, while `open`.
#[component]
pub fn Why(open: RwSignal<bool>) -> impl IntoView {
    let measuring: Measuring = expect_context();
    let what = Memo::new(move |_| subject(measuring.aim.get()));
    let known = measuring.known;
    let title =
        Signal::derive(move || known.with(|it| it.as_ref().map(|it| title(it, what.get())).unwrap_or_default()));
    let reason = move || {
        let job = measuring.here.job.get();
        known.get().map(|it| body(because(&it, what.get(), |reading| stamp_words(reading, &job))))
    };
    view! { <Sheet title open id="why-sheet">{reason}</Sheet> }
}

/// The key that opens it, where there is one.
#[component]
pub fn WhyKey(open: RwSignal<bool>) -> impl IntoView {
    let Measuring { known, aim, .. } = expect_context();
    let any = Memo::new(move |_| known.with(|it| it.as_ref().is_some_and(|it| has_reason(it, subject(aim.get())))));
    move || {
        any.get().then(|| view! {
            <button type="button" class="button button-why" id="why" aria-haspopup="dialog" on:click=move |_| open.set(true)>"Why?"</button>
        })
    }
}

/// Of what the numbers are explained.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum What {
    Room,
    Wall(WallId),
    Check(Across),
}

fn subject(aim: Aim) -> What {
    match (aim, aim.wall()) {
        (Aim::Check(of), _) => What::Check(of),
        (_, Some(wall)) => What::Wall(wall),
        _ => What::Room,
    }
}

fn has_reason(known: &Known, what: What) -> bool {
    match what {
        What::Room => known.outline().is_some() || known.adjusted().is_some(),
        What::Wall(_) | What::Check(_) => !readings(known, what).is_empty(),
    }
}

fn title(known: &Known, what: What) -> String {
    match what {
        What::Room => format!("Why: {}", known.room().name),
        What::Wall(wall) => format!("Why: {}", wall_name(known.room(), wall)),
        What::Check(of) => format!("Why: {}", checking::words(known.room(), of)),
    }
}

/// Who read it, when and with what.
fn stamp_words(reading: &Reading, job: &Job) -> String {
    let who = job.people.get(&reading.stamp.by).cloned().unwrap_or_default();
    let with = unread_words(reading).unwrap_or(match reading.tool {
        Tool::Laser => "laser",
        Tool::Tape | Tool::Plan => "tape",
    });
    format!("{who} {}, {with}", clock(reading.stamp.at))
}

/// The readings in force of a wall or a check.
fn readings(known: &Known, what: What) -> Vec<&Reading> {
    let room = known.room();
    match what {
        What::Room => Vec::new(),
        What::Wall(wall) => room.wall(wall).map(|it| it.in_force().collect()).unwrap_or_default(),
        What::Check(of) => room.checks_in_force().filter(|it| it.of == of).map(|it| &it.reading).collect(),
    }
}

fn because(known: &Known, what: What, who: impl Fn(&Reading) -> String) -> Because {
    match what {
        What::Room => of_room(known),
        What::Wall(_) | What::Check(_) => of_readings(known, what, who),
    }
}

/// The area, how well the ring closes, and how certain its cuts are.
fn of_room(known: &Known) -> Because {
    let (room, rules, units) = (known.room(), known.rules(), known.units());
    let show = |it: Length| shown::length(it, units);
    let read = room.walls.iter().filter(|it| it.in_force().next().is_some()).count();
    let checks = room.checks_in_force().count();
    let mut because = Because::default().with("Walls read", format!("{read} of {}", room.walls.len()));
    if checks > 0 {
        because = because.with("Checks across", checks.to_string());
    }
    if let Some(outline) = known.outline() {
        let missed = outline.misclosure.ratio.map(|it| format!(" (1:{it})")).unwrap_or_default();
        because = because
            .with("Floor", shown::area(outline.area, units))
            .with("Around", show(outline.perimeter))
            .with("Missed its start by", format!("{}{missed}", show(outline.misclosure.gap)))
            .with("May miss it by", format!("1:{}, or {}", rules.closure_ratio, show(rules.closure_least)));
    }
    if let Some(adjusted) = known.adjusted() {
        let test = adjusted.test;
        because = because.with("Readings more than needed", test.degrees.to_string());
        if test.degrees > 0 {
            let fit = format!("{:.1}; 95 in 100 rooms: {:.1} to {:.1}", test.fit, test.low, test.high);
            because = because.with("How far they disagree", fit);
        }
        // Nothing is certain while readings contradict each other.
        let sound = adjusted.cuts.iter().filter(|_| adjusted.verdict.agrees());
        if let Some(cut) = sound.max_by_key(|it| it.uncertainty) {
            let name = match cut.of {
                CutOf::Wall(i) => room.walls.get(i).map_or_else(String::new, |it| wall_name(room, it.id)),
                CutOf::Along => "Overall along wall 1".to_owned(),
                CutOf::Across => "Overall across wall 1".to_owned(),
            };
            let certain = format!("{name}: {}, certain to {}", show(cut.length), show(cut.uncertainty));
            because = because.with("Least certain cut", certain);
        }
        because = because.with("Wall allowance", show(rules.wall_allowance));
    }
    let spread = match checks {
        0 => "What the ring misses its start by is spread over the walls by their lengths (compass rule).",
        _ => "All readings are adjusted together by least squares, each by its weight.",
    };
    because.rule = format!(
        "{spread} Square corners stay square where the readings allow it. A room is trusted when no reading contradicts the \
         others and every cut is certain, 95 times in 100, to within the wall allowance."
    );
    because.source =
        "Ghilani, Adjustment Computations, ch. 16 and 19. Allowances and limits are the shop's settings".to_owned();
    because
}

/// The readings of a wall or check, and what all others say of them.
fn of_readings(known: &Known, what: What, who: impl Fn(&Reading) -> String) -> Because {
    let units = known.units();
    let show = |it: Length| shown::length(it, units);
    let mut because = Because::default();
    for reading in readings(known, what) {
        because.facts.push((who(reading), reading.typed.clone()));
        if let Some(judged) = judged(known, reading) {
            because = judged_facts(because, judged, units);
        }
    }
    let Some(adjusted) = known.adjusted() else {
        because.rule = "The length is the mean of its readings in force. What the others say of them shows once the ring is closed.".to_owned();
        return because;
    };
    let number = |wall| known.room().walls.iter().position(|it| it.id == wall);
    let cut = match what {
        What::Wall(wall) => {
            number(wall).and_then(|i| adjusted.cuts.iter().find(|it| matches!(it.of, CutOf::Wall(of) if of == i)))
        }
        What::Room | What::Check(_) => None,
    };
    if let Some(cut) = cut {
        because = because
            .with("All readings together", show(cut.length))
            .with("Certain, 95 times in 100, to", show(cut.uncertainty));
    }
    because.rule = format!(
        "All readings and corners of the room are adjusted together, each by its weight. One that is off by more than \
         {OUTLIER:.2} of its standard deviations is suspected; a slip shows when it would be found four times out of five."
    );
    because.source =
        "Ghilani, Adjustment Computations, ch. 16 and 21; Baarda, A Testing Procedure for Use in Geodetic \
                      Networks. Tapes: EU directive 2014/32, annex MI-008"
            .to_owned();
    because
}

fn judged_facts(because: Because, judged: &Judged, units: Units) -> Because {
    let show = |it: Length| shown::length(it, units);
    let because = match judged.residual {
        Amount::Length(off) => because.with(
            "off the others by",
            format!("{}, {:.1} standard deviations", show(off.abs()), judged.standardised.abs()),
        ),
        Amount::Angle(_) => because,
    };
    match judged.least_blunder {
        Some(Amount::Length(least)) => because.with("a slip shows from", show(least)),
        _ => because.with("a slip shows from", "nothing checks it".to_owned()),
    }
}

fn judged<'a>(known: &'a Known, reading: &Reading) -> Option<&'a Judged> {
    let own = |source: &Source| matches!(source, Source::Wall(_, id) | Source::Check(_, id) if *id == reading.id);
    let at = known.survey()?.sources.iter().position(own)?;
    known.adjusted()?.judged.get(at)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measured::House;

    fn fact<'a>(because: &'a Because, what: &str) -> Option<&'a str> {
        because.facts.iter().find(|it| it.0 == what).map(|it| it.1.as_str())
    }

    #[test]
    fn a_rooms_area_opens_to_how_well_its_ring_closes() {
        let mut house = House::default();
        let den = house.walls("Den", &["12'", "9'", "12' 1/2\"", "9'"]);
        house.act(&[shared_model::job::Edit::CloseRoom { room: den, closed: true }]);
        let because = of_room(&Known::new(house.room(den), &house.job()));
        assert_eq!(fact(&because, "Walls read"), Some("4 of 4"));
        assert_eq!(fact(&because, "Around"), Some("42' 0 1/2\""));
        // 504 1/2 in around ÷ 1/2 in.
        assert_eq!(fact(&because, "Missed its start by"), Some("1/2\" (1:1009)"));
        assert_eq!(fact(&because, "May miss it by"), Some("1:400, or 1/2\""));
        assert_eq!(fact(&because, "Readings more than needed"), Some("3"), "eight, of which a ring of four needs five");
        assert_eq!(fact(&because, "Checks across"), None);
        assert!(because.rule.contains("compass rule"));
    }

    #[test]
    fn a_wall_opens_to_its_readings_and_what_the_others_say() {
        let mut house = House::default();
        let den = house.rectangle("Den", [12, 9]);
        house.read(den, 1, "12' 1/8\"");
        let known = Known::new(house.room(den), &house.job());
        let what = What::Wall(house.wall(den, 1));
        let because = of_readings(&known, what, |it| format!("at {}", it.stamp.at.0));
        let typed: Vec<_> = because.facts.iter().filter(|it| it.0.starts_with("at ")).map(|it| it.1.as_str()).collect();
        assert_eq!(typed, ["12'", "12' 1/8\""]);
        assert!(fact(&because, "off the others by").is_some_and(|it| it.ends_with("standard deviations")));
        assert!(fact(&because, "All readings together").is_some());
        assert!(because.rule.contains("3.29"));
    }

    #[test]
    fn a_wall_of_an_open_ring_is_the_mean_of_its_readings() {
        let mut house = House::default();
        let den = house.walls("Den", &["12'", "9'"]);
        let known = Known::new(house.room(den), &house.job());
        let what = What::Wall(house.wall(den, 1));
        assert!(has_reason(&known, what) && !has_reason(&known, What::Room));
        let because = of_readings(&known, what, |_| "Ana".to_owned());
        assert_eq!(because.facts, [("Ana".to_owned(), "12'".to_owned())]);
        assert!(because.rule.contains("mean"));
    }
}
