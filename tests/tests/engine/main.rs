//! The engine against published values, hand-worked numbers, independent checkers and properties.
#![expect(clippy::panic, clippy::unwrap_used, reason = "what goes wrong in a helper fails the test that called it")]

/// Entry grammar, exactness, display and rounding of lengths.
mod lengths;

/// Exact plane geometry.
mod pins;
mod polygons;

/// Simulated devices that edit one job and exchange changes: shared by the modules below.
mod crew;
mod fields;
mod ledger;
mod script;

/// The job document: what is entered, refused, disputed, removed, kept.
mod documents;

/// Photos: which files may be kept, and what the document says of them.
mod photos;

/// A job's file: round trips, damage, forgeries.
mod job_file;

/// The open files and their published schemas, which an independent validator holds to the readers.
mod open_files;

/// Three devices, any edits, any exchange: all end in one job, and nothing typed is missing; undo.
mod interleavings;

/// The job as it stood, what changed since, and what was lost brought back.
mod history;

/// Bytes from outside that want to do harm: known attacks on the guard and the document.
mod hostile;
mod interlock;

/// Thousands of mutated changes, messages and noise: none does harm.
mod mutations;

/// The roll's plan: exhaustive search, published optima, honest claims, the open file.
mod nesting;

/// Whole small houses against every way to lay them.
mod small_houses;

/// Bounds held to plans that are known because the pieces were cut from them.
mod planted;

/// Plans that are cut edge to edge: published lengths, cuts carried out.
mod cuttable;

/// The house rules that the compiler cannot hold.
mod stepped;
mod ticked_off;
mod tidy;

/// From readings to closed outlines: hand-worked rooms, and slips with their places.
mod cut_already;
mod on_hand;
mod outlines;

/// Corners that nobody measured.
mod free_corners;

/// The compass rule against published traverses.
mod traverses;
mod why;

/// Carpet that runs through openings.
mod rolls;
mod run_through;

/// Properties of closing any ring.
mod rings;

/// How far readings can be trusted, and which of them is wrong.
mod surveys;

/// The adjustment against SciPy's least squares.
mod survey_reference;

/// Properties of adjusting any ring, and how certain each reading is.
mod survey_rings;

/// Rooms on the plan, what the carpet covers, pile groups.
mod floors;

/// Rooms around loops: placed together, judged, and what does not fit.
mod floor_loops;

/// The floor's least squares against a published levelling net and NumPy.
mod floor_reference;

/// What stands on the floor, and walls that bend.
mod fixtures;

/// Properties of any room with anything in it.
mod furnished;

/// Pad, tack strip, tape, transitions.
mod quantities;

/// The demo house.
mod demo;

/// The takeoff against printed worked examples.
mod published;

/// Random rooms and houses against the independent checker.
mod covers;
