//! How fast the document of a job is: `cargo bench -p napline-tests --bench documents`.
//!
//! The job has 60 rooms of 8 walls, each wall read twice and turned once, every entry its own change: about 1 500 changes.

use std::hint::black_box;

use divan::Bencher;
use shared_model::guard;
use shared_model::history::difference;
use shared_model::ids::{DeviceId, JobId, ReadingId, RoomId, TurnId, WallId};
use shared_model::job::{Edit, JobDoc, NewChange, NewReading, NewTurn, Order, SyncState, Timestamp, Tool, Turn};
use shared_model::length::Length;
use uuid::Uuid;

const JOB: JobId = JobId(Uuid::from_u128(1));
const DEVICE: DeviceId = DeviceId(Uuid::from_u128(2));
const ROOMS: u128 = 60;
const WALLS: u128 = 8;

fn main() {
    divan::main();
}

fn edit(doc: &mut JobDoc, edits: &[Edit]) -> NewChange {
    let done = doc.edit(edits, "bench", Timestamp(1));
    done.ok().flatten().unwrap_or_else(|| unreachable!("{edits:?} can be done"))
}

const fn id(kind: u128, room: u128, wall: u128, n: u128) -> Uuid {
    Uuid::from_u128(kind << 96 | room << 64 | wall << 32 | n)
}

fn reading(room: u128, wall: u128, n: u128) -> Edit {
    Edit::AddReading {
        room: RoomId(id(1, room, 0, 0)),
        wall: WallId(id(2, room, wall, 0)),
        reading: NewReading {
            id: ReadingId(id(3, room, wall, n)),
            value: Length::inches(96),
            typed: "8'".to_owned(),
            tool: Tool::Tape,
            supersedes: Vec::new(),
        },
    }
}

fn measured() -> JobDoc {
    let mut doc = JobDoc::new(JOB, [1; 16], DEVICE);
    let mut order = Order::default();
    for room in 0..ROOMS {
        let id_of_room = RoomId(id(1, room, 0, 0));
        let name = format!("Room {room}");
        edit(&mut doc, &[Edit::AddRoom { room: id_of_room, name, level: 0, goods: None, order: order.clone() }]);
        order = Order::between(Some(&order), None);
        for wall in 0..WALLS {
            let id_of_wall = WallId(id(2, room, wall, 0));
            let turn =
                NewTurn { id: TurnId(id(4, room, wall, 0)), turn: Turn::RIGHT, free: false, supersedes: Vec::new() };
            edit(
                &mut doc,
                &[
                    Edit::AddWall { room: id_of_room, wall: id_of_wall, order: Order::default() },
                    Edit::StateTurn { room: id_of_room, wall: id_of_wall, turn },
                ],
            );
            edit(&mut doc, &[reading(room, wall, 0)]);
            edit(&mut doc, &[reading(room, wall, 1)]);
        }
    }
    doc
}

/// Twenty thousand changes: each wall read again and again, each reading in place of the one before.
fn long() -> JobDoc {
    let mut doc = measured();
    let (mut n, mut wall) = (2, 0);
    while doc.len() < 20_000 {
        let (room, of) = (wall / WALLS, wall % WALLS);
        let mut again = reading(room, of, n);
        if let Edit::AddReading { reading, .. } = &mut again {
            reading.supersedes = vec![ReadingId(id(3, room, of, n - 1))];
        }
        edit(&mut doc, &[again]);
        wall = (wall + 1) % (ROOMS * WALLS);
        n += u128::from(wall == 0);
    }
    doc
}

/// Who did what, of 20 000 changes: once when the history is opened.
#[divan::bench]
fn timeline_of_20_000(bencher: Bencher) {
    let doc = long();
    bencher.bench(|| black_box(&doc).timeline());
}

/// What 50 of 20 000 changes did: one page of the history, the newest or one further back.
#[divan::bench(args = [0, 10_000, 19_000])]
fn details_of_50_of_20_000(bencher: Bencher, from: usize) {
    let doc = long();
    let page: Vec<_> = doc.timeline().into_iter().skip(from).take(50).collect();
    bencher.bench(|| {
        let steps = page.iter().filter_map(|it| black_box(&doc).step(&it.change));
        steps.map(|it| difference(&it.before, &it.after).len()).sum::<usize>()
    });
}

/// The whole job as it was when half of 20 000 changes were made.
#[divan::bench]
fn job_at_10_000_of_20_000(bencher: Bencher) {
    let doc = long();
    let change = doc.timeline()[10_000].change;
    bencher.bench(|| black_box(&doc).at(&[change]));
}

fn loaded(bytes: &[u8], actor: u8) -> JobDoc {
    JobDoc::load(JOB, bytes, [actor; 16], DEVICE).unwrap_or_else(|error| unreachable!("{error}"))
}

/// Read after every edit on a phone.
#[divan::bench]
fn read_job(bencher: Bencher) {
    let doc = measured();
    bencher.bench(|| black_box(&doc).job());
}

#[divan::bench]
fn edit_once(bencher: Bencher) {
    let saved = measured().save();
    bencher.with_inputs(|| loaded(&saved, 2)).bench_values(|mut doc| edit(&mut doc, &[reading(0, 0, 7)]));
}

#[divan::bench]
fn vet_change(bencher: Bencher) {
    let change = edit(&mut measured(), &[reading(0, 0, 7)]);
    bencher.bench(|| guard::change(black_box(&change.bytes), None));
}

/// What a live change costs a server, before it is stored.
#[divan::bench]
fn vet_and_apply(bencher: Bencher) {
    let saved = measured().save();
    let change = edit(&mut loaded(&saved, 3), &[reading(0, 0, 7)]);
    bencher.with_inputs(|| loaded(&saved, 2)).bench_values(|mut doc| {
        let vetted = guard::change(&change.bytes, None);
        let applied = vetted.map(|it| doc.apply(vec![it]));
        (applied, doc)
    });
}

#[divan::bench]
fn save(bencher: Bencher) {
    let doc = measured();
    bencher.bench(|| black_box(&doc).save());
}

#[divan::bench]
fn load(bencher: Bencher) {
    let saved = measured().save();
    bencher.bench(|| loaded(black_box(&saved), 2));
}

/// The stored changes one by one, without a snapshot.
#[divan::bench]
fn load_changes(bencher: Bencher) {
    let changes = measured().changes_since(&[]);
    bencher.bench(|| {
        let bytes = changes.iter().map(|it| it.bytes.as_slice());
        JobDoc::from_changes(JOB, None, black_box(bytes), [2; 16], DEVICE)
    });
}

/// What a phone does that is new in the shop: takes in the whole history of a job from its server.
#[divan::bench(args = [1_500, 20_000], sample_count = 10)]
fn catch_up_from_the_server(bencher: Bencher, changes: usize) {
    let mut server = if changes == 20_000 { long() } else { measured() };
    let phone = || JobDoc::new(JOB, [9; 16], DEVICE);
    let (mut state, mut of_server) = (SyncState::new(), SyncState::new());
    let asked = phone().sync_message(&mut state, false).unwrap_or_default();
    let heard = guard::sync(&asked, server.len(), None, false).map(|it| server.receive_sync(&mut of_server, it));
    assert!(heard.is_ok_and(|it| it.is_ok()));
    let answer = server.sync_message(&mut of_server, true).unwrap_or_default();
    bencher.with_inputs(|| (phone(), state.clone())).bench_values(|(mut phone, mut state)| {
        let taken = guard::sync(&answer, phone.len(), None, true).map(|it| phone.receive_sync(&mut state, it));
        assert!(taken.is_ok_and(|it| it.is_ok_and(|it| it.len() + 100 >= changes)));
        phone
    });
}
