use super::*;
use shared_model::guard;
use shared_model::ids::{JobId, ReadingId, RoomId};
use shared_model::job::{JobDoc, NewReading, Order, Timestamp, Tool};
use shared_model::length::Length;
use uuid::Uuid;

const ANA: DeviceId = DeviceId(Uuid::from_u128(1));
const BEN: DeviceId = DeviceId(Uuid::from_u128(2));
const ROOM: RoomId = RoomId(Uuid::from_u128(10));
const WALL: WallId = WallId(Uuid::from_u128(11));

/// One person's document and undo list.
struct Hand {
    doc: JobDoc,
    undo: Undo,
    me: DeviceId,
}

impl Hand {
    fn new(me: DeviceId) -> Self {
        Self { doc: JobDoc::new(JobId(Uuid::from_u128(9)), *me.0.as_bytes(), me), undo: Undo::default(), me }
    }

    fn act(&mut self, said: &str, edits: &[Edit]) {
        let before = self.doc.job();
        self.doc.edit(edits, said, Timestamp(1)).unwrap();
        self.undo.remember(said, edits, &before);
    }

    /// Takes back; returns why something stayed.
    fn undo(&mut self) -> Option<String> {
        let Move { edits, kept, .. } = self.undo.undo(&self.doc.job(), self.me).unwrap();
        self.doc.edit(&edits, "undo", Timestamp(2)).unwrap();
        kept
    }

    /// Does it again; returns why something stayed.
    fn redo(&mut self) -> Option<String> {
        let Move { edits, kept, .. } = self.undo.redo(&self.doc.job()).unwrap();
        self.doc.edit(&edits, "redo", Timestamp(3)).unwrap();
        kept
    }

    fn hear(&mut self, other: &Self) {
        let changes = other.doc.changes_since(&[]);
        self.doc.apply(changes.iter().map(|it| guard::change(&it.bytes, None).unwrap()).collect()).unwrap();
    }

    fn room(&self) -> Option<Room> {
        self.doc.job().room(ROOM).cloned()
    }
}

fn add_room() -> Edit {
    Edit::AddRoom { room: ROOM, name: "Den".to_owned(), level: 0, goods: None, order: Order::between(None, None) }
}

fn add_wall() -> Edit {
    Edit::AddWall { room: ROOM, wall: WALL, order: Order::between(None, None) }
}

fn read(id: u128, feet: i64) -> Edit {
    let reading = NewReading {
        id: ReadingId(Uuid::from_u128(id)),
        value: Length::feet(feet),
        typed: format!("{feet}'"),
        tool: Tool::Tape,
        supersedes: Vec::new(),
    };
    Edit::AddReading { room: ROOM, wall: WALL, reading }
}

#[test]
fn a_wall_with_its_reading_goes_and_comes_as_one() {
    let mut ana = Hand::new(ANA);
    ana.act("room", &[add_room()]);
    ana.act("wall", &[add_wall(), read(20, 12)]);
    assert_eq!(ana.undo.last(), Some("wall"));

    assert_eq!(ana.undo(), None);
    assert!(ana.room().unwrap().walls.is_empty());
    assert_eq!((ana.undo.last(), ana.undo.next()), (Some("room"), Some("wall")));

    assert_eq!(ana.redo(), None);
    let wall = ana.room().unwrap().walls.remove(0);
    assert_eq!(wall.in_force().map(|it| it.value).collect::<Vec<_>>(), [Length::feet(12)]);
}

#[test]
fn a_new_action_ends_what_could_be_done_again() {
    let mut ana = Hand::new(ANA);
    ana.act("room", &[add_room()]);
    ana.act("wall", &[add_wall()]);
    ana.undo();
    ana.act("name", &[Edit::NameRoom { room: ROOM, name: "Study".to_owned() }]);
    assert_eq!(ana.undo.next(), None);
    ana.undo();
    assert_eq!(ana.room().unwrap().name, "Den");
}

#[test]
fn undo_leaves_what_others_measured() {
    let (mut ana, mut ben) = (Hand::new(ANA), Hand::new(BEN));
    ana.act("room", &[add_room(), add_wall()]);
    ben.hear(&ana);
    ben.doc.edit(&[Edit::NamePerson { name: "Ben".to_owned() }], "name", Timestamp(1)).unwrap();
    ben.act("reading", &[read(30, 12)]);
    ana.hear(&ben);

    let kept = ana.undo().unwrap();
    assert!(kept.starts_with("Ben measured"), "{kept}");
    assert_eq!(ana.room().unwrap().walls[0].in_force().count(), 1);
}

#[test]
fn undo_does_not_write_over_a_newer_name() {
    let (mut ana, mut ben) = (Hand::new(ANA), Hand::new(BEN));
    ana.act("room", &[add_room()]);
    ana.act("name", &[Edit::NameRoom { room: ROOM, name: "Study".to_owned() }]);
    ben.hear(&ana);
    ben.act("name", &[Edit::NameRoom { room: ROOM, name: "Office".to_owned() }]);
    ana.hear(&ben);
    assert!(ana.undo().is_some());
    assert_eq!(ana.room().unwrap().name, "Office");
}

#[test]
fn redo_does_not_write_over_a_newer_name() {
    let (mut ana, mut ben) = (Hand::new(ANA), Hand::new(BEN));
    ana.act("room", &[add_room()]);
    ana.act("name", &[Edit::NameRoom { room: ROOM, name: "Study".to_owned() }]);
    ana.undo();
    assert_eq!(ana.redo(), None);
    assert_eq!(ana.room().unwrap().name, "Study");
    ana.undo();
    ben.hear(&ana);
    ben.act("name", &[Edit::NameRoom { room: ROOM, name: "Office".to_owned() }]);
    ana.hear(&ben);
    assert!(ana.redo().is_some());
    assert_eq!(ana.room().unwrap().name, "Office");
}

#[test]
fn the_list_survives_a_reload() {
    let mut ana = Hand::new(ANA);
    ana.act("room", &[add_room()]);
    ana.act("wall", &[add_wall(), read(20, 12)]);
    let stored = serde_json::to_vec(&ana.undo).unwrap();
    ana.undo = serde_json::from_slice(&stored).unwrap();
    ana.undo();
    assert!(ana.room().unwrap().walls.is_empty());
}
