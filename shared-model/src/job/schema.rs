//! The document's keys, its fixed first change and its migrations.
