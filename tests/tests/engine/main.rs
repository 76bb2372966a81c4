//! The engine against published values, hand-worked numbers, independent checkers and properties.

/// Entry grammar, exactness, display and rounding of lengths.
mod lengths;
/// Exact plane geometry.
mod polygons;

/// Simulated devices that edit one job and exchange changes: shared by the modules below.
mod crew;

/// The job document: merging, undoing, what is kept; properties.
mod documents;

/// Bytes from outside that want to do harm: known attacks on the guard and the document, and mutations.
mod hostile;

/// The roll's plan: exhaustive search, published optima, honest claims, the open file.
mod nesting;

/// The house rules that the compiler cannot hold.
mod tidy;
/// From readings to closed outlines: published traverses, slips, properties.
mod outlines;

/// Rooms on the plan, what the carpet covers, pile groups.
mod floors;

/// Pad, tack strip, tape, transitions.
mod quantities;
