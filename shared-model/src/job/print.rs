//! Sheets that were printed: paper stays as it was, so the crew must see what changed since.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Stamp;
use crate::ids::PrintId;

/// A sheet that was printed. Never changed, like a reading.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Print {
    pub id: PrintId,
    pub sheet: Sheet,
    pub stamp: Stamp,
}

/// What is printed.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, JsonSchema)]
pub enum Sheet {
    /// What the crew needs and does on the day.
    Day,
}
