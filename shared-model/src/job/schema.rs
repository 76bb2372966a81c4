//! The document's keys, its fixed first change and its migrations.

use std::sync::LazyLock;

use automerge::transaction::{CommitOptions, Transactable, Transaction};
use automerge::{
    ActorId, Automerge, AutomergeError, Change, ChangeHash, ObjType, ROOT, ScalarValue, TextEncoding, Value,
};

use super::look::Look;

/// The newest schema that this code reads and writes.
pub const SCHEMA: u32 = 1;

/// Positions in texts count bytes, on the phone as on the server; automerge's own default differs between them.
pub(super) const ENCODING: TextEncoding = TextEncoding::Utf8CodeUnit;

/// A fixed change: its actor is fixed, its time is 0, and it depends on nothing but the fixed changes before it. So it has the
/// same bytes wherever it is made, and two devices that make it apart have made one change. Additive only.
type Step = fn(&mut Transaction<'_>) -> Result<(), AutomergeError>;

/// One step per schema version; the first makes the root maps, each later one migrates from the version before.
const STEPS: [Step; SCHEMA as usize] = [genesis];

fn genesis(tx: &mut Transaction<'_>) -> Result<(), AutomergeError> {
    for map in [key::ROOMS, key::FLIGHTS, key::GOODS, key::CHOICES, key::PEOPLE, key::RULES, key::JOB] {
        tx.put_object(ROOT, map, ObjType::Map)?;
    }
    Ok(())
}

/// The actor of the fixed change that leads to `schema`. No device may use it for anything else.
pub(crate) fn fixed_actor(schema: u32) -> [u8; 16] {
    let mut actor = *b"napline\0schema\0\0";
    actor[14..].copy_from_slice(&(schema as u16).to_be_bytes());
    actor
}

/// The schema that this actor's fixed change leads to; `None` for the actors of devices.
pub(crate) fn schema_of_fixed_actor(actor: &[u8]) -> Option<u32> {
    match actor {
        [name @ .., high, low] if name == b"napline\0schema" => Some(u32::from(u16::from_be_bytes([*high, *low]))),
        _ => None,
    }
}

fn fixed(steps: &[Step]) -> Result<Vec<Change>, AutomergeError> {
    let mut doc = Automerge::new_with_encoding(ENCODING);
    for (step, schema) in steps.iter().zip(1..) {
        doc.set_actor(ActorId::from(fixed_actor(schema)));
        let mut tx = doc.transaction();
        step(&mut tx)?;
        tx.put(ROOT, key::SCHEMA, i64::from(schema))?;
        tx.commit_with(CommitOptions::default().with_message(format!("schema {schema}")).with_time(0));
    }
    Ok(doc.get_changes(&[]))
}

/// Whether this is one of the fixed changes up to [`SCHEMA`].
pub(crate) fn is_fixed_change(hash: &ChangeHash) -> bool {
    fixed_hashes().contains(hash)
}

/// The change that every job starts with.
pub(super) fn genesis_hash() -> Option<ChangeHash> {
    fixed_hashes().first().copied()
}

fn fixed_hashes() -> &'static [ChangeHash] {
    static HASHES: LazyLock<Vec<ChangeHash>> =
        LazyLock::new(|| fixed(&STEPS).unwrap_or_default().iter().map(Change::hash).collect());
    &HASHES
}

/// Brings a document to [`SCHEMA`]: adds the fixed changes that it lacks. A newer document stays as it is.
pub(super) fn migrate(doc: &mut Automerge) -> Result<(), AutomergeError> {
    migrate_by(doc, &STEPS)
}

fn migrate_by(doc: &mut Automerge, steps: &[Step]) -> Result<(), AutomergeError> {
    if schema_of(doc) as usize >= steps.len() {
        return Ok(());
    }
    doc.apply_changes(fixed(steps)?)
}

/// The document's schema: 0 for one without the first change.
pub(super) fn schema_of(doc: &impl Look) -> u32 {
    let values = doc.all(&ROOT, key::SCHEMA);
    let numbers = values.iter().filter_map(|(value, _)| match value {
        Value::Scalar(scalar) => match scalar.as_ref() {
            ScalarValue::Int(n) => u32::try_from(*n).ok(),
            _ => None,
        },
        Value::Object(_) => None,
    });
    numbers.max().unwrap_or(0)
}

/// The keys of the document. Things are keyed by their uuid in the maps of the root, rooms, and walls.
pub(super) mod key {
    pub const SCHEMA: &str = "schema";
    pub const ROOMS: &str = "rooms";
    pub const FLIGHTS: &str = "flights";
    pub const GOODS: &str = "goods";
    pub const CHOICES: &str = "choices";
    pub const PEOPLE: &str = "people";
    pub const RULES: &str = "rules";
    pub const JOB: &str = "job";

    pub const WALLS: &str = "walls";
    pub const OPENINGS: &str = "openings";
    pub const READINGS: &str = "readings";
    pub const CHECKS: &str = "checks";
    pub const RISES: &str = "rises";
    pub const FIXTURES: &str = "fixtures";
    pub const MARKS: &str = "marks";
    pub const TURNS: &str = "turns";

    pub const NAME: &str = "name";
    pub const UNITS: &str = "units";
    pub const ARCHIVED: &str = "archived";
    pub const ORDER: &str = "order";
    pub const REMOVED: &str = "removed";

    pub const LEVEL: &str = "level";
    pub const CLOSED: &str = "closed";

    pub const VALUE: &str = "value";
    pub const TYPED: &str = "typed";
    pub const TOOL: &str = "tool";
    pub const TURN: &str = "turn";
    pub const FREE: &str = "free";
    pub const INWARD: &str = "inward";
    pub const TEXT: &str = "text";
    /// The device's clock, seconds. Who it was is the author of the change.
    pub const AT: &str = "at";
    /// Bytes: 16 for each uuid superseded.
    pub const SUPERSEDES: &str = "supersedes";
    pub const WITHDRAWN: &str = "withdrawn";

    pub const WALL: &str = "wall";
    /// The wall that a check runs to, or that starts at the corner that it runs to.
    pub const TO: &str = "to";
    pub const KIND: &str = "kind";
    pub const OFFSET: &str = "offset";
    pub const WIDTH: &str = "width";
    pub const DEPTH: &str = "depth";
    pub const FLOOR: &str = "floor";
    pub const LEADS_TO: &str = "leads_to";
    /// From a wall's face into the room.
    pub const CLEAR: &str = "clear";

    pub const STEPS: &str = "steps";
    pub const RISER: &str = "riser";
    pub const GOING: &str = "going";
    pub const NOSING: &str = "nosing";
    pub const WINDERS: &str = "winders";
    pub const WINDER_REACH: &str = "winder_reach";
    pub const LANDING: &str = "landing";
    pub const ROOM: &str = "room";
    /// Where a flight starts, in one value: of two people who move it, one is right, and never half of each.
    pub const FOOT: &str = "foot";

    pub const ROLL_WIDTH: &str = "roll_width";
    pub const REPEAT_LENGTH: &str = "repeat_length";
    pub const REPEAT_WIDTH: &str = "repeat_width";
    pub const PATTERN: &str = "pattern";
    pub const PILE: &str = "pile";
    pub const INCREMENT: &str = "increment";
    pub const MINIMUM: &str = "minimum";
    pub const LONGEST: &str = "longest";

    pub const PIECE: &str = "piece";
    pub const PLAN: &str = "plan";
    pub const PIN: &str = "pin";
    pub const LEFT_OUT: &str = "left out";
    pub const ON_HAND: &str = "on hand";
    pub const LENGTH: &str = "length";
    pub const WORTH: &str = "worth";
    /// Under the job: sheets that were printed.
    pub const PRINTS: &str = "prints";
    /// Under the job.
    pub const PHOTOS: &str = "photos";
    /// Under a photo: a picture's file, with its hash in bytes, length, and size in pixels.
    pub const PICTURE: &str = "picture";
    pub const THUMBNAIL: &str = "thumbnail";
    pub const HASH: &str = "hash";
    pub const BYTES: &str = "bytes";
    pub const HEIGHT: &str = "height";
    pub const MARK: &str = "mark";
    pub const FLIGHT: &str = "flight";
    /// Under a chosen plan: how each room and flight is carpeted, by its uuid.
    pub const WAYS: &str = "ways";
    /// Under a chosen plan: bytes for each piece by its id.
    pub const CUTS: &str = "cuts";
}

#[cfg(test)]
mod tests {
    use automerge::ReadDoc;

    use super::*;

    #[test]
    fn the_first_change_is_the_same_everywhere() {
        let hash = genesis_hash().unwrap();
        assert_eq!(hash.to_string(), "5f310a5b68b32a8ffc9d4f8f8c895360fb2ad19865510a1387fc49ea1e101ba0");
    }

    fn landings(tx: &mut Transaction<'_>) -> Result<(), AutomergeError> {
        tx.put_object(ROOT, "landings", ObjType::Map).map(|_| ())
    }

    /// A pretend schema 2: two devices migrate the same job apart, one of them after further edits, and have made one change.
    #[test]
    fn a_migration_made_twice_is_one_change() {
        let next: [Step; 2] = [genesis, landings];
        let mut here = Automerge::new_with_encoding(ENCODING);
        migrate(&mut here).unwrap();
        let mut there = here.fork();
        there.transact::<_, _, AutomergeError>(|tx| tx.put(ROOT, "typed meanwhile", "kept")).unwrap();
        assert_eq!(schema_of(&here), 1);

        migrate_by(&mut here, &next).unwrap();
        migrate_by(&mut there, &next).unwrap();
        assert_eq!((schema_of(&here), schema_of(&there)), (2, 2));
        here.merge(&mut there).unwrap();
        assert_eq!(here.get_all(ROOT, "landings").unwrap().len(), 1);
        assert_eq!(here.get_changes(&[]).len(), 3);
        assert_eq!(here.get(ROOT, "typed meanwhile").unwrap().unwrap().0, "kept".into());
    }

    #[test]
    fn fixed_actors_are_told_from_devices() {
        assert_eq!(schema_of_fixed_actor(&fixed_actor(1)), Some(1));
        assert_eq!(schema_of_fixed_actor(&fixed_actor(700)), Some(700));
        assert_eq!(schema_of_fixed_actor(&[7; 16]), None);
        assert_eq!(schema_of_fixed_actor(&[]), None);
    }
}
