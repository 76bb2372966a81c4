//! Names of things that are created on several devices at once: uuids, one type per kind of thing.

use std::fmt;
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident),+ $(,)?) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize, JsonSchema)]
        #[serde(transparent)]
        pub struct $name(pub Uuid);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)
            }
        }

        impl FromStr for $name {
            type Err = uuid::Error;

            fn from_str(text: &str) -> Result<Self, uuid::Error> {
                Uuid::parse_str(text).map(Self)
            }
        }
    )+};
}

ids! {
    /// A job: one house, one document.
    JobId,
    /// A phone, tablet, laptop or server that was paired; the author of changes.
    DeviceId,
    /// A room, closet, hall or landing.
    RoomId,
    /// A wall of a room; also names the corner at the wall's end.
    WallId,
    /// One reading of a wall's length.
    ReadingId,
    /// One statement of the turn at a corner.
    TurnId,
    /// A doorway, cased opening, window or pass-through.
    OpeningId,
    /// A hearth, column or other thing that the carpet goes around.
    FixtureId,
    /// A squeak or a note.
    MarkId,
    /// A flight of stairs.
    FlightId,
    /// A carpet as it is sold: roll width, pattern, order increment.
    GoodsId,
    /// A decision of the crew: a layout chosen, a piece cut.
    ChoiceId,
    /// A note that a sheet was printed.
    PrintId,
    /// A photo of something in the house.
    PhotoId,
}
