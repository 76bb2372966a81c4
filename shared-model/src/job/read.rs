//! The document typed: reads a [`super::Job`] by known path, with limits.
