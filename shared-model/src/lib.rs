//! The trade: what a carpet crew measures, and everything that follows from it.
//!
//! Pure: no input or output, no clock, no randomness of its own, no async. The phone and the server run the same code
//! and get the same bytes. The modules stand in the order in which the data flows:
//!
//! ```text
//! reading → outline → floor → layout → nest → materials
//! ```
//!
//! [`takeoff`] runs all of them in sequence; read it first.

pub mod ids;
pub mod length;
pub mod polygon;
pub mod problem;

pub mod demo;
pub mod history;
pub mod job;

pub mod fingerprint;
pub mod floor;
pub mod layout;
pub mod materials;
pub mod nest;
pub mod outline;
pub mod stairs;
pub mod survey;
pub mod takeoff;

pub mod job_file;
pub mod open_file;
pub mod photo;
pub mod seal;
pub mod sealed;

pub mod guard;
pub mod wire;
