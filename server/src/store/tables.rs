//! The tables and their layout.

use redb::{Database, ReadableDatabase, TableDefinition};

/// Version of the tables' layout; raised when a table changes its meaning.
pub const LAYOUT: u64 = 4;

/// (job, seq)
pub type ChangeKey = (u128, u64);
/// (hash, device that brought it, seconds when it was received, change chunk)
pub type ChangeRow<'a> = (&'a [u8; 32], u128, i64, &'a [u8]);

pub const CHANGES: TableDefinition<ChangeKey, ChangeRow> = TableDefinition::new("changes");
/// (job, hash) → seq
pub const HASHES: TableDefinition<(u128, &[u8; 32]), u64> = TableDefinition::new("hashes");
/// (job, seq of the last change inside) → document
pub const SNAPSHOTS: TableDefinition<(u128, u64), &[u8]> = TableDefinition::new("snapshots");
/// job → name, for the list of jobs
pub const NAMES: TableDefinition<u128, &str> = TableDefinition::new("names");
/// jobs that are put away, for the list of jobs
pub const ARCHIVED: TableDefinition<u128, ()> = TableDefinition::new("archived");
/// job → the mark of all its changes, unless some are damaged or nobody has looked
pub const MARKS: TableDefinition<u128, [u8; 16]> = TableDefinition::new("marks");
/// actor → device that first used it
pub const ACTORS: TableDefinition<&[u8; 16], u128> = TableDefinition::new("actors");
/// device → its record as JSON
pub const DEVICES: TableDefinition<u128, &[u8]> = TableDefinition::new("devices");
/// number → a line of the list of who came and went, as JSON
pub const NOTES: TableDefinition<u64, &[u8]> = TableDefinition::new("notes");
const META: TableDefinition<&str, &[u8]> = TableDefinition::new("meta");

const LAYOUT_KEY: &str = "layout";
const REPLICA_KEY: &str = "replica";

/// What the store says about itself.
#[derive(Clone, Copy)]
pub struct Meta {
    pub layout: u64,
    /// Random, made with the store.
    pub replica: [u8; 16],
}

/// Reads the meta table, and makes the tables that an empty store or one of an older version does not have.
pub fn prepare(database: &Database) -> Result<Meta, redb::Error> {
    let found = read_meta(database)?;
    if let Some(meta) = found.filter(|it| it.layout >= LAYOUT) {
        return Ok(meta);
    }
    let replica = found.map_or_else(|| *uuid::Uuid::new_v4().as_bytes(), |it| it.replica);
    let meta = Meta { layout: LAYOUT, replica };
    let transaction = database.begin_write()?;
    transaction.open_table(CHANGES)?;
    transaction.open_table(HASHES)?;
    transaction.open_table(SNAPSHOTS)?;
    transaction.open_table(NAMES)?;
    transaction.open_table(ARCHIVED)?;
    transaction.open_table(MARKS)?;
    transaction.open_table(ACTORS)?;
    transaction.open_table(DEVICES)?;
    transaction.open_table(NOTES)?;
    {
        let mut table = transaction.open_table(META)?;
        table.insert(LAYOUT_KEY, meta.layout.to_be_bytes().as_slice())?;
        table.insert(REPLICA_KEY, meta.replica.as_slice())?;
    }
    transaction.commit()?;
    Ok(meta)
}

fn read_meta(database: &Database) -> Result<Option<Meta>, redb::Error> {
    let table = match database.begin_read()?.open_table(META) {
        Ok(table) => table,
        Err(redb::TableError::TableDoesNotExist(_)) => return Ok(None),
        Err(error) => return Err(error.into()),
    };
    let field =
        |key| -> Result<Vec<u8>, redb::Error> { Ok(table.get(key)?.map(|it| it.value().to_vec()).unwrap_or_default()) };
    let wrong = |key: &str| redb::Error::Corrupted(format!("the entry {key} is not what it should be"));
    let layout = field(LAYOUT_KEY)?.try_into().map_err(|_| wrong(LAYOUT_KEY))?;
    let replica = field(REPLICA_KEY)?.try_into().map_err(|_| wrong(REPLICA_KEY))?;
    Ok(Some(Meta { layout: u64::from_be_bytes(layout), replica }))
}
