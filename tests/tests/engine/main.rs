//! The engine against published values, hand-worked numbers, independent checkers and properties.

/// Entry grammar, exactness, display and rounding of lengths.
mod lengths;
/// Exact plane geometry.
mod polygons;

/// The job document: merging, undoing, what is kept; properties.
mod documents;
