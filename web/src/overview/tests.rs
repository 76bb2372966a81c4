use super::*;
use crate::measured::{ANA, BEN, House};
use crate::measuring::Shape;
use shared_model::ids::OpeningId;
use shared_model::job::{Edit, FloorAtOpening, Opening, OpeningKind};
use shared_model::length::Length;
use shared_model::takeoff::takeoff;
use uuid::Uuid;

fn accounts(house: &House) -> Vec<Account> {
    let job = house.job();
    let known: Vec<Known> = job.rooms.iter().map(|it| Known::new(it.clone(), &job)).collect();
    overview(&known, &takeoff(&job).problems)
}

/// Each line as `badge: text`.
fn said(account: &Account) -> Vec<String> {
    account.lines.iter().map(|it| format!("{}: {}", it.matter.badge(), it.text)).collect()
}

#[test]
fn a_room_that_is_measured_and_trusted_says_so_and_nothing_else() {
    let mut house = House::default();
    let den = house.rectangle("Den", [12, 9]);
    house.check(den, 1, 3, "15'");
    let all = accounts(&house);
    assert_eq!(said(&all[0]), Vec::<String>::new());
    assert!(all[0].trust.as_deref().is_some_and(|it| it.starts_with("Cuts are certain to ")), "{:?}", all[0].trust);
    assert_eq!(summary(&all), None);
}

/// The corners of a room without a check across are only said to be square: to 0.3°, an inch or so on the far wall.
#[test]
fn the_walls_that_only_square_corners_check_are_named() {
    let mut house = House::default();
    let den = house.rectangle("Den", [12, 9]);
    let all = accounts(&house);
    assert_eq!(
        said(&all[0]),
        [2, 4].map(|n| format!(
            "unchecked: Wall {n} fits the others to 0\". A slip of less than 3 3/16\" would go unseen."
        ))
    );
    assert_eq!(all[0].lines[0].aim, Some(Aim::Wall(house.wall(den, 2))));
    assert!(all[0].trust.is_some(), "what is cut is certain all the same");
    assert_eq!(summary(&all).as_deref(), Some("2 unchecked"));
}

#[test]
fn a_wall_of_two_readings_that_disagree_shows_both_and_whose_they_are() {
    let mut house = House::default();
    let den = house.rectangle("Den", [12, 9]);
    house.ben();
    house.read(den, 3, "12' 1\"");
    let all = accounts(&house);
    let line = &all[0].lines[0];
    assert_eq!(line.matter, Matter::Disputed);
    assert_eq!(
        line.text,
        "Wall 3 reads 12' 0\" and 12' 1\", 1\" apart. Measure it again, then take back the wrong one."
    );
    assert_eq!(line.aim, Some(Aim::Wall(house.wall(den, 3))));
    let by: Vec<_> = line.readings.iter().map(|it| (it.value, it.stamp.by)).collect();
    assert_eq!(by, [(Length::feet(12), ANA), (Length::feet(12) + Length::INCH, BEN)]);
    assert_eq!(summary(&all).as_deref(), Some("1 disputed"));
}

#[test]
fn walls_to_read_are_one_line_that_leads_to_the_first_of_them() {
    let mut house = House::default();
    let hall = house.shape("Hall", Shape::L);
    house.read(hall, 1, "12'");
    house.read(hall, 2, "10'");
    let all = accounts(&house);
    assert_eq!(said(&all[0])[0], "to read: Walls 3, 4, 5 and 6 are not read yet.");
    assert_eq!(all[0].lines[0].aim, Some(Aim::Wall(house.wall(hall, 3))));
    assert_eq!(summary(&all).as_deref(), Some("4 walls to read"));
}

#[test]
fn a_wall_that_follows_from_the_others_is_still_to_read() {
    let mut house = House::default();
    let den = house.shape("Den", Shape::Rectangle);
    for (number, text) in [(1, "12'"), (2, "9'"), (3, "12'")] {
        house.read(den, number, text);
    }
    let all = accounts(&house);
    let line = &all[0].lines[0];
    assert_eq!((line.matter, line.count), (Matter::Unread, 1));
    assert_eq!(
        line.text,
        "Wall 4 is not measured; its length follows from the others, so one slip in them goes unseen. Measure it as a check."
    );
    // Wall 2 has nothing across from it, and says so; the two long walls check each other.
    let unchecked: Vec<_> = all[0].lines.iter().filter(|it| it.matter == Matter::Unchecked).collect();
    assert_eq!(unchecked.len(), 1);
    assert_eq!(unchecked[0].aim, Some(Aim::Wall(house.wall(den, 2))));
}

#[test]
fn a_suspect_is_named_with_what_it_may_have_been() {
    let mut house = House::default();
    let den = house.rectangle("Den", [12, 9]);
    house.check(den, 1, 3, "15'");
    house.check(den, 2, 4, "15'");
    house.correct(den, 3, "13'");
    let all = accounts(&house);
    let line = &all[0].lines[0];
    assert_eq!(line.matter, Matter::Wrong);
    assert_eq!(line.text, "Wall 3 reads 13' 0\"; 12' 0\" would fit: a foot off? Measure it again.");
    assert_eq!(line.aim, Some(Aim::Wall(house.wall(den, 3))));
    let aside = all[0].lines.last().unwrap();
    assert_eq!((aside.matter, aside.text.as_str(), aside.count), (Matter::Aside, "Wall 3", 1));
    assert_eq!(aside.readings[0].value, Length::feet(12), "the one that was corrected");
    assert_eq!(all[0].trust, None);
}

#[test]
fn the_most_urgent_room_comes_first_and_a_trusted_one_last() {
    let mut house = House::default();
    let den = house.rectangle("Den", [12, 9]);
    house.check(den, 1, 3, "15'");
    house.shape("Hall", Shape::Rectangle);
    let office = house.rectangle("Office", [10, 10]);
    house.check(office, 1, 3, "14' 1 11/16\"");
    house.read(office, 1, "10' 2\"");
    let all = accounts(&house);
    let names: Vec<_> = all.iter().map(|it| it.name.as_str()).collect();
    assert_eq!(names, ["Office", "Hall", "Den"]);
    assert_eq!(summary(&all).as_deref(), Some("1 disputed · 4 walls to read"));
}

#[test]
fn a_check_that_was_set_aside_leads_to_its_check() {
    let mut house = House::default();
    let den = house.rectangle("Den", [12, 9]);
    house.check(den, 1, 3, "15' 2\"");
    house.check(den, 2, 4, "15'");
    let check = &house.room(den).checks[0];
    house.act(&[Edit::WithdrawCheck { room: den, check: check.reading.id, withdrawn: true }]);
    let all = accounts(&house);
    assert_eq!(said(&all[0]), ["set aside: Corner 1 to corner 3"]);
    assert_eq!(all[0].lines[0].aim, Some(Aim::Check(check.of)));
    assert_eq!(summary(&all), None, "it needs nothing");
}

#[test]
fn a_room_that_is_not_closed_says_so() {
    let mut house = House::default();
    house.walls("Den", &["12'", "9'"]);
    house.add("Hall");
    let all = accounts(&house);
    assert_eq!(said(&all[0]), ["open: Den is not closed yet. Close it when its last wall meets the first."]);
    assert_eq!(said(&all[1]), ["open: Hall has no walls yet."]);
    assert_eq!(summary(&all).as_deref(), Some("2 rooms open"));
}

#[test]
fn a_check_that_does_not_fit_leads_to_itself_and_one_of_a_drawing_to_its_wall() {
    let mut house = House::default();
    let den = house.rectangle("Den", [12, 9]);
    house.check(den, 1, 3, "15'");
    house.check(den, 2, 4, "16'");
    let all = accounts(&house);
    assert_eq!(
        all[0].lines[0].text,
        "The check from corner 2 to corner 4 reads 16' 0\"; 15' 0\" would fit: a foot off? Measure it again."
    );
    assert_eq!(all[0].lines[0].aim, Some(Aim::Check(house.room(den).checks[1].of)));

    let mut house = House::default();
    let den = house.rectangle("Den", [12, 9]);
    let (_, edits) = crate::copying::copy(&house.room(den), None, None, true);
    house.act(&edits);
    let all = accounts(&house);
    let lines: Vec<_> = all.iter().filter(|it| it.room != den).flat_map(said).collect();
    assert_eq!(lines[0], "not read here: Walls 1, 2, 3 and 4 are only from a drawing or proposed: read each once.");
}

#[test]
fn what_looks_the_same_is_all_listed() {
    let mut house = House::default();
    let den = house.rectangle("Den", [12, 9]);
    house.correct(den, 1, "13'");
    let all = accounts(&house);
    assert_eq!(
        said(&all[0])[..3],
        [
            "look again: Den is open by 1' 0\" (1:43); up to 1 5/16\" is what a tape leaves. Measure walls 1 and 3 again: they \
             run along the gap.",
            "look again: Wall 3 may be wrong.",
            "look again: Wall 1 may be wrong.",
        ]
    );
    assert_eq!(summary(&all).as_deref(), Some("1 to look at again"));
}

/// Each room's readings are sound by themselves; what the two sides of one door say is not.
#[test]
fn a_door_that_two_rooms_see_differently_is_disputed() {
    let mut house = House::default();
    let rooms = [house.rectangle("Den", [12, 9]), house.rectangle("Hall", [12, 4])];
    let door = |of: usize, wall: usize, width: i64| Opening {
        id: OpeningId(Uuid::from_u128(of as u128 + 1)),
        wall: house.wall(rooms[of], wall),
        kind: OpeningKind::Doorway,
        offset: Length::feet(4),
        width: Length::inches(width),
        depth: Length::inches(5),
        floor: FloorAtOpening::SeamUnderDoor,
        leads_to: Some(rooms[1 - of]),
    };
    let doors = [(0, door(0, 3, 30)), (1, door(1, 1, 36))];
    for (of, opening) in doors {
        house.act(&[Edit::AddOpening { room: rooms[of], opening }]);
    }
    let all = accounts(&house);
    assert_eq!(all[0].name, "Den");
    assert_eq!(
        said(&all[0])[0],
        "disputed: The opening between Den and Hall: wide 2' 6\" seen from Den, 3' 0\" seen from Hall. Measure it again; \
         until then both count."
    );
    assert_eq!(all[0].lines[0].aim, Some(Aim::Wall(house.wall(rooms[0], 3))));
    assert!(all[0].lines[0].readings.is_empty());
    assert!(all[1].lines.iter().all(|it| it.matter != Matter::Disputed), "it is told once");
}
