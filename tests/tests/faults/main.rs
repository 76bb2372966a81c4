//! What goes wrong between devices, and what comes in from outside: lost frames, dead processes, invented bytes.
#![expect(clippy::panic, clippy::unwrap_used, clippy::expect_used, reason = "what goes wrong fails its test")]

/// Random edits of every kind, and what was typed written down beside the documents.
#[path = "../engine/crew.rs"]
#[expect(dead_code, reason = "the engine's tests use the rest")]
mod crew;
#[path = "../engine/fields.rs"]
mod fields;
#[path = "../engine/ledger.rs"]
mod ledger;
#[path = "../engine/script.rs"]
mod script;

/// The client's own, which needs no browser.
#[path = "../../../web/src/kept.rs"]
#[expect(dead_code, reason = "the client uses the rest")]
mod kept;

/// A phone and a server of the simulation, and what may happen to them.
mod counts;
mod handset;
mod simulation;
mod station;

/// Real servers that are killed, and phones that go from one to the other.
mod killed;

/// Every door through which bytes come in, as the fuzzer knows them.
#[path = "../../../fuzz/src/lib.rs"]
mod doors;
/// The fuzzer's kept corpus, and mutations of it.
mod outside;
