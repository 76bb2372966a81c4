//! The power goes, at any instant: what was acknowledged is there after it, nothing is there by half, and the store goes on.
//!
//! The disk lies in memory and notes what reaches it. Of what was not flushed when the power went, any sectors may be on it and
//! others not, in whatever order they were written: a drive with a cache may do that (*common practice* to assume it).

use std::sync::{Arc, Mutex, PoisonError};

use redb::StorageBackend;

use super::tests::{device, job};
use super::*;

/// What a drive writes as a whole, at least.
const SECTOR: usize = 512;

#[derive(Clone, Debug)]
enum Step {
    Write(usize, Vec<u8>),
    Length(usize),
    Flush,
    /// The server has said that the next batch is stored.
    Acknowledged,
}

#[derive(Clone, Debug, Default)]
struct Disk(Arc<Mutex<(Vec<u8>, Vec<Step>)>>);

impl Disk {
    fn holding(bytes: Vec<u8>) -> Self {
        Self(Arc::new(Mutex::new((bytes, Vec::new()))))
    }

    fn with<T>(&self, run: impl FnOnce(&mut Vec<u8>, &mut Vec<Step>) -> T) -> T {
        let (bytes, steps) = &mut *self.0.lock().unwrap_or_else(PoisonError::into_inner);
        run(bytes, steps)
    }

    fn note(&self, step: Step) {
        self.with(|bytes, steps| {
            take(&step, bytes);
            steps.push(step);
        });
    }

    fn steps(&self) -> Vec<Step> {
        self.with(|_, steps| steps.clone())
    }

    fn store(&self) -> Result<Store, StoreError> {
        let path = PathBuf::from("a disk in memory");
        let mut opened = builder().create_with_backend(self.clone());
        if opened.is_err() && self.with(|bytes, _| is_unfinished(bytes)) {
            self.note(Step::Length(0));
            opened = builder().create_with_backend(self.clone());
        }
        let database = opened.map_err(|error| StoreError::unusable(&path, &error))?;
        Store::of(database, path)
    }
}

impl StorageBackend for Disk {
    fn len(&self) -> Result<u64, io::Error> {
        Ok(self.with(|bytes, _| bytes.len() as u64))
    }

    fn read(&self, offset: u64, out: &mut [u8]) -> Result<(), io::Error> {
        let from = offset as usize;
        self.with(|bytes, _| out.copy_from_slice(&bytes[from..from + out.len()]));
        Ok(())
    }

    fn set_len(&self, len: u64) -> Result<(), io::Error> {
        self.note(Step::Length(len as usize));
        Ok(())
    }

    fn sync_data(&self) -> Result<(), io::Error> {
        self.note(Step::Flush);
        Ok(())
    }

    fn write(&self, offset: u64, data: &[u8]) -> Result<(), io::Error> {
        self.note(Step::Write(offset as usize, data.to_vec()));
        Ok(())
    }
}

fn take(step: &Step, bytes: &mut Vec<u8>) {
    match step {
        Step::Write(from, data) => {
            let end = from + data.len();
            bytes.resize(bytes.len().max(end), 0);
            bytes[*from..end].copy_from_slice(data);
        }
        Step::Length(length) => bytes.resize(*length, 0),
        Step::Flush | Step::Acknowledged => {}
    }
}

/// Luck that is the same each time: `SplitMix64`. <https://prng.di.unimi.it/splitmix64.c>
struct Luck(u64);

impl Luck {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// Whether all, nothing, or about half of what was not flushed is on the disk.
    fn arriving(&mut self) -> impl FnMut() -> bool {
        let how = self.next() % 4;
        move || match how {
            0 => false,
            1 => true,
            _ => self.next().is_multiple_of(2),
        }
    }
}

/// What is on a disk that held `before` when the power went after these steps.
fn left(before: &[u8], steps: &[Step], luck: &mut Luck) -> Vec<u8> {
    let flushed = steps.iter().rposition(|it| matches!(it, Step::Flush)).map_or(0, |it| it + 1);
    let mut bytes = before.to_vec();
    steps[..flushed].iter().for_each(|it| take(it, &mut bytes));
    let mut arrives = luck.arriving();
    for step in &steps[flushed..] {
        let Step::Write(from, data) = step else {
            if arrives() {
                take(step, &mut bytes);
            }
            continue;
        };
        assert!(from.is_multiple_of(SECTOR), "a write from the middle of a sector");
        for (n, sector) in data.chunks(SECTOR).enumerate() {
            if arrives() {
                take(&Step::Write(from + n * SECTOR, sector.to_vec()), &mut bytes);
            }
        }
    }
    bytes
}

/// Two changes of different jobs, a mark and a device; now and then a snapshot.
fn batch(n: usize) -> Vec<Write> {
    let change = |of: u128| Write::Change { job: job(of), seq: n as u64, change: change(n) };
    let mark = Write::Mark { job: job(1), mark: Some(Mark([n as u8; 16])) };
    let snapshot = Write::Snapshot { job: job(1), seq: n as u64, bytes: vec![n as u8; 9_000] };
    let all = [change(1), change(2), mark, Write::Device(phone(n))];
    all.into_iter().chain((n % 5 == 4).then_some(snapshot)).collect()
}

fn change(n: usize) -> StoredChange {
    StoredChange {
        hash: [n as u8; 32],
        from: device(1),
        received: Timestamp(n as i64),
        bytes: vec![n as u8; n * 373 % 6_000 + 1],
    }
}

/// A phone about which something was decided again.
fn phone(edition: usize) -> Device {
    let (person, name) = ("Ada".to_owned(), "phone".to_owned());
    let (paired, revoked) = (Timestamp(0), edition.is_multiple_of(2).then_some(Timestamp(1)));
    Device { id: device(7), person, name, token: [7; 32], paired, role: Role::Crew, revoked, edition: edition as u64 }
}

/// How many batches the store has; each of them whole.
fn batches_in(store: &Store) -> usize {
    let [one, two] = [1, 2].map(|it| store.changes(job(it), 0).expect("the changes"));
    assert_eq!(one, two, "a batch by half");
    let count = one.len();
    assert_eq!(one, (0..count).map(|it| (it as u64, change(it))).collect::<Vec<_>>());
    let newest = count.checked_sub(1);
    assert_eq!(store.jobs().expect("the jobs").iter().find_map(|it| it.mark), newest.map(|it| Mark([it as u8; 16])));
    assert_eq!(store.devices().expect("the devices"), newest.map(phone).into_iter().collect::<Vec<_>>());
    let snapshots: Vec<u64> = store.snapshots(job(1)).expect("the snapshots").into_iter().map(|it| it.0).collect();
    assert_eq!(snapshots, (0..count as u64).rev().filter(|it| it % 5 == 4).take(2).collect::<Vec<_>>());
    count
}

#[tokio::test]
async fn whatever_instant_the_power_goes_at() {
    const BATCHES: usize = 24;
    const LUCKS: u64 = 10;
    let disk = Disk::default();
    let store = disk.store().expect("an empty store");
    for n in 0..BATCHES {
        store.commit(batch(n)).await.expect("nothing is wrong with the disk");
        disk.note(Step::Acknowledged);
    }
    store.close();

    let steps = disk.steps();
    for (instant, seed) in (0..=steps.len()).flat_map(|it| (0..LUCKS).map(move |seed| (it, seed))) {
        let mut luck = Luck(seed << 32 | instant as u64);
        let acknowledged = steps[..instant].iter().filter(|it| matches!(it, Step::Acknowledged)).count();
        let first = left(&[], &steps[..instant], &mut luck);
        // It goes again while the store is opened.
        let again = Disk::holding(first.clone());
        again.store().unwrap_or_else(|error| panic!("{seed} at {instant}: {error}")).close();
        let opening = again.steps();
        let until = luck.next() as usize % (opening.len() + 1);
        let second = left(&first, &opening[..until], &mut luck);

        let store = Disk::holding(second).store().unwrap_or_else(|error| panic!("{seed} at {instant}: {error}"));
        let count = batches_in(&store);
        assert!(count >= acknowledged, "{seed} at {instant}: {count} of {acknowledged} acknowledged");
        store.commit(batch(count)).await.expect("the store goes on");
        assert_eq!(batches_in(&store), count + 1);
        store.close();
    }
}
