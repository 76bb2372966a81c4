//! The steps of each flight are covered, with what is tucked under and added overall.

use shared_model::layout::{FlightPart, Part, Piece};
use shared_model::length::Length;

use super::{Check, Faults};

impl Check<'_> {
    pub(super) fn flights(&self, faults: &mut Faults) {
        let rules = &self.job.rules;
        for flight in &self.job.flights {
            let runs = self
                .layout
                .placed()
                .map(|(piece, _)| piece)
                .filter(|it| matches!(it.part, Part::Flight { flight: own, .. } if own == flight.id));
            let runs: Vec<&Piece> = runs.collect();
            if runs.is_empty() {
                continue;
            }
            let over = |going: Length| (going + flight.nosing + flight.riser + rules.stair_pad).0;
            let (mut steps, mut winders, mut landings) = (0, 0, 0);
            for run in &runs {
                let net = run.length.0 - run.extra.start.0 - run.extra.end.0;
                let (counted, step) = match run.part {
                    Part::Flight { part: FlightPart::Winder(_), .. } => (&mut winders, over(flight.winder_reach)),
                    Part::Flight { part: FlightPart::Landing, .. } => (&mut landings, over(flight.landing)),
                    _ => (&mut steps, over(flight.going)),
                };
                faults.expect(net % step == 0, || format!("{}: cut within a step", run.id));
                *counted += net / step;
                let winder = matches!(run.part, Part::Flight { part: FlightPart::Winder(_), .. });
                let covered = if winder { flight.width.max(flight.winder_reach) } else { flight.width };
                let wide = run.width >= covered + rules.stair_tuck * 2;
                faults
                    .expect(wide && run.extra.left >= rules.stair_tuck && run.extra.right >= rules.stair_tuck, || {
                        format!("{}: too little to tuck under", run.id)
                    });
            }
            let wanted = [flight.steps - flight.winders, flight.winders, u32::from(flight.landing.0 > 0)];
            faults.equal(|| format!("{}: steps", flight.name), &[steps, winders, landings], &wanted.map(i64::from));
            let spare: i64 = runs.iter().map(|it| it.extra.start.0 + it.extra.end.0).sum();
            faults.expect(spare >= rules.stair_overall.0, || format!("{}: without what is added overall", flight.name));
        }
    }
}
