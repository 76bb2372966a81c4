use redb::TableHandle;
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::Timestamp;
use uuid::Uuid;

use super::*;

pub fn job(n: u128) -> JobId {
    JobId(Uuid::from_u128(n))
}

pub fn device(n: u128) -> DeviceId {
    DeviceId(Uuid::from_u128(n))
}

fn change(n: u8) -> StoredChange {
    StoredChange { hash: [n; 32], from: device(1), received: Timestamp(i64::from(n)), bytes: vec![n; 3] }
}

fn stored(job: JobId, seq: u64, n: u8) -> Write {
    Write::Change { job, seq, change: change(n) }
}

#[tokio::test]
async fn what_is_committed_is_there_after_opening_again() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    let replica = store.replica();
    let named = Write::Listed { job: job(2), name: "Mill Lane".into(), archived: false };
    store.commit(vec![stored(job(2), 0, 1), stored(job(2), 1, 2), stored(job(1), 0, 3), named]).await.unwrap();
    store.close();

    let store = Store::open(folder.path()).unwrap();
    assert_eq!(store.replica(), replica);
    assert_eq!(store.changes(job(2), 0).unwrap(), [(0, change(1)), (1, change(2))]);
    assert_eq!(store.changes(job(2), 1).unwrap(), [(1, change(2))]);
    assert_eq!(store.changes(job(9), 0).unwrap(), []);
    let list: Vec<_> = store.jobs().unwrap().into_iter().map(|it| (it.job, it.name, it.changed.0)).collect();
    assert_eq!(list, [(job(1), String::new(), 3), (job(2), "Mill Lane".to_owned(), 2)]);
}

#[tokio::test]
async fn a_change_is_kept_once() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    store.commit(vec![stored(job(1), 0, 1)]).await.unwrap();
    store.commit(vec![stored(job(1), 1, 1), stored(job(2), 0, 1)]).await.unwrap();
    assert_eq!(store.changes(job(1), 0).unwrap(), [(0, change(1))]);
    assert_eq!(store.changes(job(2), 0).unwrap().len(), 1, "another job may have the same change");
}

#[tokio::test]
async fn a_sound_copy_takes_the_place_of_a_damaged_change() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    let damaged = StoredChange { bytes: vec![9; 3], ..change(1) };
    store.commit(vec![Write::Change { job: job(1), seq: 0, change: damaged }, stored(job(1), 1, 2)]).await.unwrap();
    store.commit(vec![stored(job(1), 2, 1)]).await.unwrap();
    assert_eq!(store.changes(job(1), 0).unwrap(), [(1, change(2)), (2, change(1))]);
    store.commit(vec![stored(job(1), 3, 1)]).await.unwrap();
    assert_eq!(store.changes(job(1), 0).unwrap().len(), 2);
}

#[tokio::test]
async fn two_snapshots_are_kept_of_each_job() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    for seq in [499, 999, 1_499] {
        store.commit(vec![Write::Snapshot { job: job(1), seq, bytes: vec![1] }]).await.unwrap();
    }
    store.commit(vec![Write::Snapshot { job: job(2), seq: 1, bytes: vec![2] }]).await.unwrap();
    assert_eq!(store.snapshots(job(1)).unwrap(), [(1_499, vec![1]), (999, vec![1])]);
    assert_eq!(store.snapshots(job(2)).unwrap(), [(1, vec![2])]);
}

#[tokio::test]
async fn an_actor_belongs_to_the_device_that_used_it_first() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    assert_eq!(store.claim([1; 16], device(1)).unwrap(), device(1));
    assert_eq!(store.claim([1; 16], device(2)).unwrap(), device(1));
    store.commit(vec![Write::Actor { actor: [1; 16], device: device(1) }]).await.unwrap();
    store.commit(vec![Write::Actor { actor: [1; 16], device: device(2) }]).await.unwrap();
    store.close();
    let store = Store::open(folder.path()).unwrap();
    assert_eq!(store.claim([1; 16], device(2)).unwrap(), device(1));
}

#[test]
fn a_store_in_use_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let _first = Store::open(folder.path()).unwrap();
    assert!(matches!(Store::open(folder.path()), Err(StoreError::InUse(_))));
}

#[test]
fn a_file_that_is_no_store_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("napline.redb");
    std::fs::write(&path, "a letter").unwrap();
    assert!(matches!(Store::open(folder.path()), Err(StoreError::Unusable { .. })));
    assert_eq!(std::fs::read_to_string(&path).unwrap(), "a letter");
}

#[test]
fn a_file_whose_making_was_cut_off_is_made_anew() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(FILE);
    for begun in [vec![], vec![0; 20_000]] {
        std::fs::write(&path, begun).unwrap();
        Store::open(folder.path()).unwrap().close();
        assert!(!is_unfinished(&std::fs::read(&path).unwrap()));
    }
}

#[tokio::test]
async fn a_store_whose_first_sector_rots_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(FILE);
    let store = Store::open(folder.path()).unwrap();
    store.commit(vec![stored(job(1), 0, 1)]).await.unwrap();
    store.close();
    let mut bytes = std::fs::read(&path).unwrap();
    bytes[..512].fill(0);
    std::fs::write(&path, &bytes).unwrap();
    assert!(matches!(Store::open(folder.path()), Err(StoreError::Unusable { .. })));
    assert_eq!(std::fs::read(&path).unwrap(), bytes);
}

#[tokio::test]
async fn batches_of_an_earlier_epoch_and_after_the_end_fail() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    let (told, answer) = tokio::sync::oneshot::channel();
    store.submit(store.epoch() + 1, vec![stored(job(1), 0, 1)], move |it| told.send(it.is_err()).unwrap());
    assert!(answer.await.unwrap());
    store.close();
    assert!(store.commit(vec![stored(job(1), 0, 1)]).await.is_err());
}

/// A table that is added must be put into [`Moment`], or backups lack it.
#[test]
fn a_moment_has_every_table() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    // The hashes are kept with the changes, a restored store looks at its jobs for their marks, and says anew what it says about itself.
    let known = ["actors", "archived", "changes", "devices", "hashes", "marks", "meta", "names", "notes", "snapshots"];
    let moment = store.moment().unwrap();
    let mut found: Vec<String> = moment.0.list_tables().unwrap().map(|it| it.name().to_owned()).collect();
    found.sort();
    assert_eq!(found, known);
}

#[tokio::test]
async fn a_moment_stays_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    store.commit(vec![stored(job(1), 0, 1)]).await.unwrap();
    let moment = store.moment().unwrap();
    store.commit(vec![stored(job(1), 1, 2), stored(job(2), 0, 3)]).await.unwrap();
    assert_eq!(moment.changes(job(1)).unwrap(), [(0, change(1))]);
    assert_eq!(moment.jobs().unwrap().len(), 1);
    assert_eq!(store.jobs().unwrap().len(), 2);
}

#[test]
fn whoever_meets_whom_first_all_servers_agree_about_a_device() {
    use shared_model::wire::Role;
    let record = |edition, role, revoked: Option<i64>, token| Device {
        id: DeviceId(Uuid::from_u128(7)),
        person: "Cem".into(),
        name: "phone".into(),
        token: [token; 32],
        paired: Timestamp(1),
        role,
        revoked: revoked.map(Timestamp),
        edition,
    };
    let meet = |a: &Device, b: &Device| if a.gives_way_to(b) { b.clone() } else { a.clone() };
    let out = record(1, Role::Crew, Some(5), 1);
    // One server has decided twice about what this role is, the other once, that it is out.
    for other in [record(2, Role::Owner, None, 1), record(9, Role::Viewer, None, 2), record(0, Role::Crew, None, 1)] {
        assert_eq!(meet(&out, &other), out);
        assert_eq!(meet(&other, &out), out);
    }
    let newer = record(3, Role::Owner, None, 2);
    assert_eq!(meet(&record(2, Role::Viewer, None, 1), &newer), newer, "paired again: the new token holds");
    let stricter = record(3, Role::Crew, None, 1);
    let all = [&out, &newer, &stricter];
    for (a, b, c) in [(0, 1, 2), (0, 2, 1), (1, 0, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0)] {
        assert_eq!(meet(&meet(all[a], all[b]), all[c]), out);
        assert_eq!(meet(&meet(all[a], all[b]), &meet(all[b], all[c])), out);
    }
    assert_eq!(meet(&newer, &stricter), meet(&stricter, &newer));
    assert_eq!(meet(&newer, &stricter), stricter);
}
