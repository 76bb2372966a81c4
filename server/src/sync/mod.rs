//! Sharing jobs: one WebSocket per phone, many jobs over it.
//!
//! A change is applied, passed on to those who could bring it back, stored, and only then acknowledged. Every other frame that
//! rests on the document goes out through the store's queue, behind the commit it depends on.

mod actors;
mod connection;
mod exchange;
mod hub;
mod job;
mod outbox;
mod seals;
mod share;

pub use actors::actor_of;
pub use connection::upgrade;
pub use exchange::Phone;
pub use hub::Hub;
pub use job::{OpenDocument, OpenError};
pub use outbox::{Outbox, Parting, Queue, new as outbox};
pub use seals::Seals;
