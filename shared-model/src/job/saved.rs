//! Automerge's documents as bytes, and back. The bytes may be hostile: a panic inside automerge becomes an error.

use std::panic::{AssertUnwindSafe, catch_unwind};

use automerge::{Automerge, AutomergeError, LoadOptions, SaveOptions};

use super::{fit, schema};

pub(super) fn save(doc: &Automerge) -> Vec<u8> {
    doc.save_with_options(SaveOptions { deflate: true, retain_orphans: false })
}

pub(super) fn load(bytes: &[u8]) -> Result<Automerge, String> {
    let options = LoadOptions::new().text_encoding(schema::ENCODING);
    let loaded = unwinding(|| {
        let doc = Automerge::load_with_options(bytes, options)?;
        Ok(fit::all_number_on(&doc).map(|()| doc))
    });
    loaded.and_then(|it| it)
}

/// Whether the document can be saved and loaded: automerge reads some from which it makes ones that it refuses.
pub(super) fn comes_back(doc: &Automerge) -> bool {
    let saved = unwinding(|| Ok(save(doc)));
    saved.and_then(|it| load(&it)).is_ok_and(|it| it.get_heads() == doc.get_heads())
}

/// Runs what may panic inside automerge; a panic becomes an error. In the browser a panic aborts, so there all bytes have passed
/// a server's guard before.
pub(super) fn unwinding<T>(run: impl FnOnce() -> Result<T, AutomergeError>) -> Result<T, String> {
    match catch_unwind(AssertUnwindSafe(run)) {
        Ok(result) => result.map_err(|error| error.to_string()),
        Err(_) => Err("it cannot be read".to_owned()),
    }
}
