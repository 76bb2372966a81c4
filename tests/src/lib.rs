//! What the tests of the whole job share: a server of one's own, and phones that are real browsers.
#![expect(clippy::panic, clippy::expect_used, reason = "what goes wrong here fails the test that asked for it")]

pub mod cable;
pub mod camera;
/// The demo house.
pub mod demo;
pub mod figures;
pub mod peer;
pub mod phone;
pub mod random;
pub mod rooms;
pub mod server;
pub mod typing;

/// Whether a takeoff is right, from first principles.
pub mod checker;
/// Cuts made as a person makes them.
pub mod copy;
pub mod cutter;
/// Floors of rooms in rows and columns.
pub mod exhaustive;
pub mod grid;
/// Published strip packing instances.
pub mod packing;
