//! Whether a change fits the document that it was taken into: what no guard can know without the document.
//!
//! Automerge takes in a change that refers to what is not there, and then gives back another one; or numbers its operations so
//! high that nobody can add to the document any more. Each of these would be found only when the document is loaded again.

use std::collections::BTreeMap;

use automerge::{ActorId, Automerge, ChangeHash, ChangeMetadata, ObjId, ObjType, ReadDoc};

use crate::guard::{MOST_DEPTH, Operation, VettedChange};

const NOT_NUMBERED_ON: &str = "its operations are not numbered on from those before";

/// Checks the changes `new` to the document, in its order, by what the guard found in them.
pub(super) fn check(
    doc: &Automerge,
    new: &[ChangeMetadata<'_>],
    vetted: &BTreeMap<ChangeHash, VettedChange>,
) -> Result<(), String> {
    let mut before: Option<(ChangeHash, Unseen)> = None;
    for meta in new {
        let Some(vetted) = vetted.get(&meta.hash) else { return Err("a change that nobody vetted".to_owned()) };
        let unseen = match before {
            // The usual case, one after another, needs no walk through the history.
            Some((hash, unseen)) if vetted.deps() == [hash] => unseen,
            _ => Unseen::of(doc, vetted.deps()),
        };
        fits(doc, vetted, &unseen).map_err(|reason| format!("change {}: {reason}", meta.hash))?;
        before = Some((meta.hash, unseen.after(vetted)));
    }
    Ok(())
}

/// Of each actor the first change that the maker of a change had not seen.
struct Unseen(BTreeMap<ActorId, u64>);

impl Unseen {
    fn of(doc: &Automerge, deps: &[ChangeHash]) -> Self {
        let mut first: BTreeMap<ActorId, u64> = BTreeMap::new();
        for meta in doc.get_changes_meta(deps) {
            let seq = first.entry(meta.actor.into_owned()).or_insert(meta.seq);
            *seq = meta.seq.min(*seq);
        }
        Self(first)
    }

    /// For a change that was made after just this one.
    fn after(mut self, change: &VettedChange) -> Self {
        self.0.insert(change.actor().clone(), change.seq() + 1);
        self
    }

    fn sees(&self, actor: &ActorId, seq: u64) -> bool {
        self.0.get(actor).is_none_or(|first| seq < *first)
    }
}

fn fits(doc: &Automerge, vetted: &VettedChange, unseen: &Unseen) -> Result<(), &'static str> {
    let change = vetted.change();
    if vetted.seq() > 1 && !unseen.sees(vetted.actor(), vetted.seq() - 1) {
        return Err("its actor did not know its own change before");
    }
    let deps = vetted.deps().iter().filter_map(|it| doc.get_change_meta_by_hash(it));
    if !numbers_on(change.start_op().get(), deps.map(|it| it.max_op)) {
        return Err(NOT_NUMBERED_ON);
    }
    let refers = vetted.refers();
    let maps = refers.maps.iter().map(|(map, _)| map);
    if !maps.chain(&refers.replaced).all(|it| is_seen(doc, it, unseen)) {
        return Err("it refers to what its maker had not seen");
    }
    if !refers.maps.iter().all(|(map, levels)| is_map(doc, map, *levels)) {
        return Err("it writes into what is no map, or too deep");
    }
    match doc.get_change_by_hash(&vetted.hash()) {
        Some(kept) if kept.raw_bytes() == change.raw_bytes() => Ok(()),
        _ => Err("it refers to what is not there"),
    }
}

/// Checks that the operations of every change are numbered on from those before, as [`check`] asks of each. Automerge believes what
/// a saved document says of its changes' last numbers, and then cannot give back a change of which that is not true.
pub(super) fn all_number_on(doc: &Automerge) -> Result<(), String> {
    let metas = doc.get_changes_meta(&[]);
    let last: BTreeMap<ChangeHash, u64> = metas.iter().map(|it| (it.hash, it.max_op)).collect();
    for meta in metas {
        if !numbers_on(meta.start_op, meta.deps.iter().filter_map(|it| last.get(it).copied())) {
            return Err(format!("change {}: {NOT_NUMBERED_ON}", meta.hash));
        }
    }
    Ok(())
}

fn numbers_on(first: u64, before: impl Iterator<Item = u64>) -> bool {
    first == before.max().unwrap_or(0) + 1
}

fn object((counter, actor): &Operation) -> ObjId {
    ObjId::Id(*counter, ActorId::from(actor.as_slice()), 0)
}

fn is_seen(doc: &Automerge, operation: &Operation, unseen: &Unseen) -> bool {
    let made = doc.hash_for_opid(&object(operation)).and_then(|it| doc.get_change_meta_by_hash(&it));
    made.is_some_and(|it| unseen.sees(&it.actor, it.seq))
}

fn is_map(doc: &Automerge, map: &Operation, levels_below: usize) -> bool {
    let map = object(map);
    // The kind first: only what is an object has parents.
    doc.object_type(&map) == Ok(ObjType::Map)
        && doc.parents(&map).is_ok_and(|it| it.take(MOST_DEPTH + 1).count() + levels_below <= MOST_DEPTH)
}
