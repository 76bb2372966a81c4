//! Stair carpet: in one piece, or in runs that are joined where a riser meets a tread.

use super::Extra;
use super::fill::Cut;
use crate::job::{Flight, Rules};
use crate::length::Length;
use crate::polygon::Area;

/// Most runs a flight is cut into. Three 36 in runs lie side by side on a 12 ft roll (*Renovation*, 3rd ed.).
const MOST_RUNS: u32 = 3;
/// Most steps that are believed.
const MOST_STEPS: u32 = 200;

/// A flight's carpet without what is added once to its length or tucked at its sides.
pub(super) struct Stair {
    /// The carpet for one step: from the nosing's edge back to the riser, and up it to the next nosing, and what the pad
    /// takes up: tread + riser + 1 in (*Renovation*, 3rd ed., carpeting stairs). Our going runs from riser to riser, so a
    /// tread measured from its nosing's edge is going + nosing.
    pub step: Length,
    pub steps: u32,
    pub width: Length,
    pad: Length,
}

impl Stair {
    /// `None` for a flight that is not measured, or cannot be.
    pub fn of(flight: &Flight, rules: &Rules) -> Option<Self> {
        let sizes = [flight.riser, flight.going, flight.width];
        let possible = sizes.iter().all(|it| *it > Length::ZERO && *it <= Length::MOST)
            && (Length::ZERO..=Length::MOST).contains(&flight.nosing)
            && (1..=MOST_STEPS).contains(&flight.steps);
        let step = flight.going + flight.nosing + flight.riser + rules.stair_pad;
        possible.then_some(Self { step, steps: flight.steps, width: flight.width, pad: rules.stair_pad })
    }

    /// One list of cuts for each number of runs, the single run first. The first run takes the top.
    pub fn runs(&self, rules: &Rules) -> Vec<Vec<Cut>> {
        (1..=MOST_RUNS.min(self.steps)).map(|runs| self.cuts(runs, rules)).collect()
    }

    /// Treads, nosings and risers, without what is lost to the pad.
    pub fn area(&self) -> Area {
        (self.step - self.pad) * i64::from(self.steps) * self.width
    }

    fn cuts(&self, runs: u32, rules: &Rules) -> Vec<Cut> {
        let width = (self.width + rules.stair_tuck * 2).round_up_to(rules.cut_step);
        let mut start = Length::ZERO;
        let mut cuts = Vec::new();
        for run in 0..runs {
            let steps = self.steps / runs + u32::from(run < self.steps % runs);
            let net = self.step * i64::from(steps);
            let overall = if run == 0 { rules.stair_overall } else { Length::ZERO };
            let length = (net + overall).round_up_to(rules.cut_step);
            let right = width - self.width - rules.stair_tuck;
            let extra = Extra { left: rules.stair_tuck, right, start: Length::ZERO, end: length - net };
            cuts.push(Cut { covers: Vec::new(), width, length, extra, left: Length::ZERO, start });
            start += net;
        }
        cuts
    }
}
