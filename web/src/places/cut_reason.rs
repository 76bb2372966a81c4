//! Why a piece has its size: the floor it covers, what is added at each edge, and the readings it came from.

use shared_model::ids::RoomId;
use shared_model::job::Job;
use shared_model::layout::{FlightPart, Part};
use shared_model::length::Length;

use super::compare::pile_words;
use crate::cutting::Cut;
use crate::reason::Because;
use crate::shown;

/// What is added at an edge, by name.
fn edge(extra: Length, job: &Job) -> String {
    let rules = &job.rules;
    let name = if extra == Length::ZERO {
        return "nothing".to_owned();
    } else if extra == rules.seam_trim {
        " seam trim"
    } else if extra == rules.wall_allowance {
        " wall allowance"
    } else {
        ""
    };
    format!("{}{name}", shown::exact(extra, job.units))
}

/// The reason of one cut.
pub fn cut_reason(cut: &Cut, job: &Job) -> Because {
    let piece = cut.piece;
    let extra = piece.extra;
    let because = Because::default()
        .with("Across the roll, exact", shown::exact(piece.width, job.units))
        .with("Along the roll, exact", shown::exact(piece.length, job.units));
    let mut because = match piece.part {
        Part::Breadth { room, .. } => {
            let because = because
                .with("Floor across", shown::exact(piece.width - extra.left - extra.right, job.units))
                .with("Left edge", edge(extra.left, job))
                .with("Right edge", edge(extra.right, job))
                .with("Floor along", shown::exact(piece.length - extra.start - extra.end, job.units))
                .with("Start", edge(extra.start, job))
                .with("End", edge(extra.end, job))
                .with("Pile in the room", pile_words(piece.pile));
            readings(because, room, job)
        }
        Part::Flight { flight, part } => match job.flights.iter().find(|it| it.id == flight) {
            Some(flight) => (match part {
                FlightPart::Winder(_) => {
                    because.with("Longest over the tread", shown::exact(flight.winder_reach, job.units))
                }
                FlightPart::Landing => because.with("Landing", shown::exact(flight.landing, job.units)),
                FlightPart::Whole | FlightPart::Run(_) => because
                    .with("Straight steps", flight.steps.saturating_sub(flight.winders).to_string())
                    .with("Going", shown::exact(flight.going, job.units)),
            })
            .with("Riser", shown::exact(flight.riser, job.units))
            .with("Tucked at each side", shown::exact(job.rules.stair_tuck, job.units))
            .with("Nosing", shown::exact(flight.nosing, job.units))
            .with("Width of the flight", shown::exact(flight.width, job.units)),
            None => because,
        },
    };
    if let Some(phase) = piece.phase {
        because = because.with("Starts in the pattern at", shown::exact(phase, job.units));
    }
    (because.rule, because.source) = rule(&piece.part, job);
    because
}

fn rule(part: &Part, job: &Job) -> (String, String) {
    let step = shown::exact(job.rules.cut_step, job.units);
    match part {
        Part::Breadth { .. } => (
            format!("The greatest extent of the floor over the whole breadth, and what each edge needs; shown rounded up to {step}."),
            "CRI carpet installation standard §6.1 (walls: 3 to 4 in over); seam trims are common practice. Both are the shop's settings".to_owned(),
        ),
        Part::Flight { .. } => (
            format!("Each step takes its going, riser, nosing and the pad's {}; the flight takes {} once more; shown rounded up to {step}.",
                shown::exact(job.rules.stair_pad, job.units), shown::exact(job.rules.stair_overall, job.units)),
            "Renovation, 3rd ed., carpeting stairs; the shop's settings".to_owned(),
        ),
    }
}

/// The readings in force of the room's walls, as they were typed.
fn readings(because: Because, room: RoomId, job: &Job) -> Because {
    let Some(room) = job.room(room) else { return because };
    let walls = room.walls.iter().map(|wall| {
        let typed: Vec<&str> = wall.in_force().map(|it| it.typed.as_str()).collect();
        if typed.is_empty() { "follows".to_owned() } else { typed.join(" / ") }
    });
    because.with("Walls as read", walls.collect::<Vec<_>>().join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cutting;
    use crate::places::fixture::{job, layout, with_piece};
    use shared_model::length::Units;

    #[test]
    fn a_cut_is_the_floor_and_what_its_edges_need() {
        let plan = layout("a", Length::feet(20), Length::ZERO, 0);
        let plan = with_piece(plan, "den/1", (Length::ZERO, Length::ZERO), (Length::feet(12), Length::feet(14)));
        let because = cut_reason(&cutting::in_order(&plan)[0], &job());
        let fact = |what: &str| because.facts.iter().find(|it| it.0 == what).map(|it| it.1.as_str());
        assert_eq!(fact("Floor across"), Some("11' 8\""));
        assert_eq!(fact("Left edge"), Some("3\" wall allowance"));
        assert_eq!(fact("Right edge"), Some("1\" seam trim"));
        assert_eq!(fact("Floor along"), Some("13' 6\""));
        assert!(because.rule.contains("1/8\""));
    }

    #[test]
    fn a_metric_job_reads_its_allowances_in_millimetres() {
        let metric = Job { units: Units::Metric, ..job() };
        assert_eq!(edge(metric.rules.wall_allowance, &metric), "76.2 mm wall allowance");
        assert_eq!(edge(metric.rules.seam_trim, &metric), "25.4 mm seam trim");
    }
}
