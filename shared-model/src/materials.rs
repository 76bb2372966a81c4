//! What to bring besides the carpet.

use serde::{Deserialize, Serialize};

use crate::floor::Floor;
use crate::job::Job;
use crate::layout::Layout;
use crate::length::Length;
use crate::polygon::Area;

/// Quantities for the day, without waste factors: each is a sum that can be shown.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Materials {
    /// Floor to pad: net floor inside the outlines, plus the flights.
    pub pad: Area,
    /// Tack strip: perimeters less the openings one walks through.
    pub strip: Length,
    /// Seam tape: the seams' length.
    pub tape: Length,
    /// Openings where the floor changes: transition pieces, one each of this width.
    pub transitions: Vec<Length>,
    /// Sides longer than 12 ft, where a power stretcher is a must (common practice).
    pub power_stretch: Vec<String>,
}

/// Counts what the chosen layouts need.
pub fn materials(job: &Job, floor: &Floor, chosen: &[&Layout]) -> Materials {
    let _ = (job, floor, chosen);
    todo!()
}
