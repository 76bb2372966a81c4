//! The job as a crew does it: real browsers, fingers on glass, one real server each.
//!
//! Without `NAPLINE_BIN` the server and its client are built first, from today's sources.

/// What a person does with the tool, in the words of the screen.
mod crew;

/// One person measures, and the order follows.
mod alone;
/// A phone without a server.
mod away;
/// Checks across a room, and rooms made from rooms.
mod checks;
/// The demo house in every place, looked at in several sizes.
mod demo;
/// A job as a file, from phone to phone.
mod files;
/// Who did what, the job as it stood, and what was lost.
mod history;
/// A phone that learns to trust the shop.
mod https;
/// What stands in a room, arcs, free corners, squeaks and notes.
mod inside;
/// The server dies in the middle of the work.
mod killed;
/// Who may do what.
mod people;
/// Photos: taken, seen, without a network, without a place in them.
mod photos;
/// Seams, pins and cuts of a plan.
mod planning;
/// What a phone does not open when it starts.
mod rest;
/// The browser's build computes what the server's computes.
mod same;
/// Who is not paired sees nothing.
mod strangers;
/// Two people at the same time, with and without a network.
mod together;
