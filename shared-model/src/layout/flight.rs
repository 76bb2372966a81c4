//! Stair carpet: in one piece, or in runs that are joined where a riser meets a tread; winders and a landing each by itself.

use super::fill::Cut;
use super::{Extra, FlightPart};
use crate::job::{Flight, Rules};
use crate::length::Length;
use crate::polygon::Area;

/// Most runs a flight is cut into. Three 36 in runs lie side by side on a 12 ft roll (*Renovation*, 3rd ed.).
const MOST_RUNS: u32 = 3;
/// Most steps that are believed.
const MOST_STEPS: u32 = 200;

/// A flight's carpet without what is added once to its length or tucked at its sides.
pub(super) struct Stair {
    /// The carpet for one straight step: from the nosing's edge back to the riser, and up it to the next nosing, and what the
    /// pad takes up: tread + riser + 1 in (*Renovation*, 3rd ed., carpeting stairs). Our going runs from riser to riser, so a
    /// tread measured from its nosing's edge is going + nosing.
    pub step: Length,
    /// Straight ones.
    pub steps: u32,
    pub width: Length,
    winders: u32,
    /// The same for a winder: each is cut by its own template, tread and riser below it (*Renovation*, 3rd ed.), out of a piece that
    /// holds the longest line over its tread both ways, however it is turned.
    winder: Length,
    winder_width: Length,
    /// The same for a landing within the flight.
    landing: Option<Length>,
    pad: Length,
}

impl Stair {
    /// `None` for a flight that is not measured, or cannot be.
    pub fn of(flight: &Flight, rules: &Rules) -> Option<Self> {
        let fits = |it: Length| (Length::ZERO..=Length::MOST).contains(&it);
        let some = |it: Length| it > Length::ZERO && fits(it);
        let straight = flight.steps.checked_sub(flight.winders)?;
        let possible = some(flight.riser)
            && some(flight.width)
            && (straight == 0 || some(flight.going))
            && (flight.winders == 0 || some(flight.winder_reach))
            && fits(flight.nosing)
            && fits(flight.landing)
            && (1..=MOST_STEPS).contains(&flight.steps);
        let over = |going: Length| going + flight.nosing + flight.riser + rules.stair_pad;
        possible.then(|| Self {
            step: over(flight.going),
            steps: straight,
            width: flight.width,
            winders: flight.winders,
            winder: over(flight.winder_reach),
            winder_width: flight.width.max(flight.winder_reach),
            landing: (flight.landing > Length::ZERO).then(|| over(flight.landing)),
            pad: rules.stair_pad,
        })
    }

    /// One list of cuts for each number of runs, the single run first. The first run takes the top.
    pub fn runs(&self, rules: &Rules) -> Vec<Vec<(FlightPart, Cut)>> {
        let most = MOST_RUNS.min(self.steps).max(1);
        (1..=most).map(|runs| self.cuts(runs, rules)).collect()
    }

    /// Treads, nosings and risers, without what is lost to the pad. A winder counts as the rectangle it is cut from.
    pub fn area(&self) -> Area {
        let straight = (self.step - self.pad) * i64::from(self.steps);
        let winders = (self.winder - self.pad) * i64::from(self.winders);
        let landing = self.landing.map_or(Length::ZERO, |it| it - self.pad);
        Area(((straight + landing) * self.width).0 + (winders * self.winder_width).0)
    }

    fn cuts(&self, runs: u32, rules: &Rules) -> Vec<(FlightPart, Cut)> {
        let mut parts = Vec::new();
        for run in 0..runs.min(self.steps) {
            let steps = self.steps / runs + u32::from(run < self.steps % runs);
            let part = if runs > 1 { FlightPart::Run(run + 1) } else { FlightPart::Whole };
            parts.push((part, self.step * i64::from(steps)));
        }
        parts.extend((1..=self.winders).map(|it| (FlightPart::Winder(it), self.winder)));
        parts.extend(self.landing.map(|it| (FlightPart::Landing, it)));
        let mut start = Length::ZERO;
        let mut cuts = Vec::new();
        for (i, (part, net)) in parts.into_iter().enumerate() {
            let covered = if let FlightPart::Winder(_) = part { self.winder_width } else { self.width };
            let width = (covered + rules.stair_tuck * 2).round_up_to(rules.cut_step);
            let right = width - covered - rules.stair_tuck;
            let overall = if i == 0 { rules.stair_overall } else { Length::ZERO };
            let length = (net + overall).round_up_to(rules.cut_step);
            let extra = Extra { left: rules.stair_tuck, right, start: Length::ZERO, end: length - net };
            cuts.push((part, Cut { covers: Vec::new(), width, length, extra, left: Length::ZERO, start }));
            start += net;
        }
        cuts
    }
}
