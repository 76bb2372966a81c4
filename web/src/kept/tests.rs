use super::*;

#[path = "fixture.rs"]
mod fixture;

use fixture::{JOB, Phone, Server, actor, author, names};

#[test]
fn edits_wait_until_the_server_says_that_it_has_them() {
    let (mut phone, mut server) = (Phone::new(1), Server::new());
    phone.act("hall");
    phone.act("den");
    assert_eq!(phone.kept.waiting(), 2);
    assert_eq!(phone.disk.waiting.len(), 2);

    phone.share(&mut server);
    assert_eq!(names(&server.doc), ["den", "hall"]);
    assert_eq!((phone.kept.waiting(), phone.disk.waiting.len()), (0, 0));
}

#[test]
fn an_acknowledgement_that_was_lost_is_made_up_by_the_next_catch_up() {
    let (mut phone, mut server) = (Phone::new(1), Server::new());
    phone.share(&mut server);
    phone.act("hall");
    for frame in std::mem::take(&mut phone.out) {
        assert!(matches!(server.hear(&frame, &mut phone.kept).as_slice(), [Frame::Ack { .. }]));
    }
    assert_eq!(phone.kept.waiting(), 1, "the connection broke before the answer came");
    phone.share(&mut server);
    assert_eq!((phone.kept.waiting(), phone.disk.waiting.len()), (0, 0));
}

#[test]
fn what_an_older_server_had_is_not_said_to_be_shared() {
    let (mut phone, mut server) = (Phone::new(1), Server::new());
    phone.act("hall");
    phone.share(&mut server);
    assert!(phone.kept.hear_ack(&[], None).level);

    // Its store was lost: the hall, which nothing waits for any more, is on the phone only until they have caught up.
    let mut restored = Server::new();
    phone.kept.forget_peer();
    let opened = phone.kept.open();
    assert!(!phone.kept.hear_ack(&[], None).level);
    phone.done(opened);
    phone.talk(&mut restored);
    assert_eq!(names(&restored.doc), ["hall"]);
    assert!(phone.kept.hear_ack(&[], None).level);
}

#[test]
fn a_phone_that_starts_again_goes_on_where_it_was() {
    let (mut phone, mut server) = (Phone::new(1), Server::new());
    phone.act("hall");
    phone.share(&mut server);
    phone.act("den");
    let mut again = Phone { kept: phone.disk.load(1), disk: phone.disk, out: Vec::new() };
    assert_eq!(again.rooms(), ["den", "hall"]);
    assert_eq!(again.kept.waiting(), 1, "the den is not on the server yet");
    again.share(&mut server);
    assert_eq!(names(&server.doc), ["den", "hall"]);
    assert_eq!(again.kept.waiting(), 0);
}

#[test]
fn two_phones_get_each_others_rooms() {
    let (mut ana, mut ben, mut server) = (Phone::new(1), Phone::new(2), Server::new());
    ana.act("hall");
    ben.act("den");
    ana.share(&mut server);
    ben.share(&mut server);
    ana.share(&mut server);
    assert_eq!(ana.rooms(), ["den", "hall"]);
    assert_eq!(ben.rooms(), ["den", "hall"]);
    assert_eq!(ana.disk.load(3).job().rooms.len(), 2, "what came from the server is on the disk too");
}

#[test]
fn a_live_change_whose_past_is_missing_asks_for_it() {
    let (mut ana, mut ben) = (Phone::new(1), Phone::new(2));
    ana.act("hall");
    ana.act("den");
    let den = ana.disk.changes.pop().unwrap();
    let outcome = ben.kept.hear_change(den, None);
    assert!(!outcome.changed, "it waits");
    assert!(matches!(outcome.send.as_slice(), [Frame::Sync { .. }]));
    let hall = ana.disk.changes.pop().unwrap();
    let outcome = ben.kept.hear_change(hall, None);
    assert!(outcome.changed);
    assert_eq!(outcome.changes.len(), 2, "both are stored now");
    assert_eq!(ben.rooms(), ["den", "hall"]);
}

#[test]
fn a_refused_edit_is_set_apart_and_later_ones_still_reach_the_server() {
    let (mut phone, mut server) = (Phone::new(1), Server::new());
    phone.share(&mut server);
    server.refuses = Some("attic");
    for said in ["hall", "attic", "den"] {
        phone.act(said);
    }
    phone.talk(&mut server);
    assert_eq!(names(&server.doc), ["den", "hall"]);
    assert_eq!(phone.rooms(), ["den", "hall"]);
    assert_eq!(phone.kept.waiting(), 0);
    let apart: Vec<_> = phone.disk.apart.iter().map(|it| (it.said.as_str(), it.reason.as_str())).collect();
    assert_eq!(apart, [("attic", "not today")]);
    assert!(!phone.disk.apart[0].bytes.is_empty(), "nothing is thrown away");
    phone.kept = phone.disk.load(1);
    assert_eq!(phone.rooms(), ["den", "hall"], "what was refused does not come back with the next start");
    phone.share(&mut server);
    assert_eq!(names(&server.doc), ["den", "hall"]);
}

#[test]
fn what_was_made_before_the_phone_was_paired_anew_is_made_again_when_nobody_vouches_for_it() {
    let (mut phone, mut server) = (Phone::new(1), Server::new());
    phone.act("hall");
    phone.share(&mut server);
    phone.act("attic");
    phone.kept.write_as(author(2), actor(8)).unwrap();
    phone.act("den");
    let attic = *phone.kept.waiting.iter().find(|(_, it)| it.said == "attic").unwrap().0;
    let outcome = phone.kept.hear_nack(Some(attic), "nobody vouches", actor(9));
    assert_eq!(outcome.apart.iter().map(|it| it.said.as_str()).collect::<Vec<_>>(), ["attic"]);
    phone.done(outcome);
    assert_eq!(phone.rooms(), ["attic", "den", "hall"]);
    for waiting in phone.kept.waiting.values() {
        guard::change(&waiting.bytes, Some(author(2))).unwrap();
    }
    phone.kept = phone.disk.load(3);
    assert_eq!(phone.rooms(), ["attic", "den", "hall"], "once");
    assert_eq!(phone.kept.waiting(), 2);
}

#[test]
fn somebody_elses_edit_that_nobody_vouches_for_stays_and_waits_for_the_servers_to_meet() {
    let (mut one, mut other) = (Phone::new(1), Phone::new(2));
    one.act("hall");
    let hall = one.disk.changes[0].clone();
    other.kept.hear_change(hall.clone(), None);
    other.act("den");
    let hash = guard::change(&hall, None).unwrap().hash().0;
    let outcome = other.kept.hear_nack(Some(hash), "nobody vouches", actor(9));
    assert!(other.kept.is_barred() && outcome.apart.is_empty() && outcome.send.is_empty());
    assert_eq!(other.rooms(), ["den", "hall"], "nothing is lost");
    assert_eq!(other.kept.waiting(), 1);
    assert_eq!(other.kept.send_again(Timestamp(9_999)), [], "it does not ask again and again");
    // The server that it came from, or one that has met it.
    let mut server = Server::new();
    server.doc.apply(vec![guard::change(&hall, None).unwrap()]).unwrap();
    other.share(&mut server);
    assert!(!other.kept.is_barred());
    assert_eq!(names(&server.doc), ["den", "hall"]);
    assert_eq!(other.kept.waiting(), 0);
}

#[test]
fn a_refused_edit_takes_nothing_with_it_that_does_not_build_on_it() {
    let (mut phone, mut server) = (Phone::new(1), Server::new());
    phone.act("hall");
    phone.act("attic");
    phone.act("den");
    let hash = |said: &str| *phone.kept.waiting.iter().find(|(_, it)| it.said == said).unwrap().0;
    let (hall, attic) = (hash("hall"), hash("attic"));

    // The refusal comes before the hall is confirmed: a server confirms only what is on its disk.
    let outcome = phone.kept.hear_nack(Some(attic), "not today", actor(9));
    assert!(phone.kept.waiting.contains_key(&hall), "the same change, which the server may have already");
    assert_eq!(outcome.waiting.iter().map(|it| it.1.said.as_str()).collect::<Vec<_>>(), ["den"]);
    // The page ends before a snapshot is written.
    phone.done(Outcome { snapshot: false, ..outcome });
    phone.kept = phone.disk.load(3);
    assert_eq!(phone.rooms(), ["den", "hall"]);
    assert_eq!(phone.kept.waiting(), 2);
    phone.share(&mut server);
    assert_eq!(names(&server.doc), ["den", "hall"]);
}

#[test]
fn a_snapshot_holds_what_another_tab_stored() {
    let (mut one, mut other) = (Phone::new(1), Phone::new(1));
    one.act("hall");
    let folded = one.kept.snapshot().unwrap();
    one.act("attic");
    let attic = one.disk.changes.pop().unwrap();
    one.act("den");
    let den = one.disk.changes.pop().unwrap();

    let apart = [set_apart("attic", "not today".to_owned(), attic.clone())];
    let stored = [((), attic), ((), den)];
    let waiting = one.disk.waiting;
    assert!(other.kept.take_in_stored(Some(&folded), &stored, &apart, waiting.clone()).unwrap());
    assert_eq!(other.rooms(), ["hall"], "without what was set apart, and what was built on it");
    assert_eq!(other.kept.waiting(), 1);
    assert!(!other.kept.take_in_stored(Some(&folded), &stored, &apart, waiting).unwrap());
    let read = Kept::load(JOB, Some(&other.kept.snapshot().unwrap()), actor(3), author(3)).unwrap();
    assert_eq!(read.job().rooms.len(), 1);
}

#[test]
fn an_unconfirmed_edit_is_sent_again_after_a_while() {
    let mut phone = Phone::new(1);
    phone.act("hall");
    assert!(phone.kept.send_again(Timestamp(1_000 + SEND_AGAIN_AFTER - 1)).is_empty());
    assert_eq!(phone.kept.send_again(Timestamp(1_000 + SEND_AGAIN_AFTER)).len(), 1);
    assert!(phone.kept.send_again(Timestamp(1_000 + SEND_AGAIN_AFTER + 1)).is_empty(), "not at every tick");
}

#[test]
fn a_phone_that_was_paired_anew_brings_what_it_had_made_before() {
    let (mut phone, mut server) = (Phone::new(1), Server::new());
    phone.act("hall");
    phone.kept.write_as(author(2), actor(2)).unwrap();
    phone.act("den");
    let late = Timestamp(1_000 + SEND_AGAIN_AFTER);
    assert_eq!(phone.kept.send_again(late).len(), 1, "the server refuses a change in the name of another device");
    phone.share(&mut server);
    assert_eq!(names(&server.doc), ["den", "hall"]);
    assert_eq!(phone.kept.waiting(), 0);
}

#[test]
fn many_changes_are_folded_into_a_snapshot() {
    let mut phone = Phone::new(1);
    for _ in 0..CHANGES_PER_SNAPSHOT {
        phone.act("room");
    }
    assert!(phone.disk.snapshot.is_some());
    assert!(phone.disk.changes.is_empty());
    assert_eq!(phone.disk.load(1).job().rooms.len(), CHANGES_PER_SNAPSHOT);
}

#[test]
fn another_tabs_work_appears_and_waits_here_too() {
    let (mut one, mut other) = (Phone::new(1), Phone::new(2));
    one.act("hall");
    let (hash, made) = one.disk.waiting.first_key_value().map(|(hash, it)| (*hash, it.clone())).unwrap();
    let outcome = other.kept.made_elsewhere(hash, made);
    assert!(outcome.changed && outcome.changes.is_empty(), "shown, and not stored twice");
    assert_eq!((other.rooms(), other.kept.waiting()), (vec!["hall".to_owned()], 1));
    other.kept.confirmed_elsewhere(&[hash]);
    assert_eq!(other.kept.waiting(), 0);
}

#[test]
fn damaged_bytes_are_set_apart_and_the_rest_is_kept() {
    let mut phone = Phone::new(1);
    phone.act("hall");
    let mut damaged = phone.disk.changes.clone();
    let mut flipped = damaged[0].clone();
    flipped[20] ^= 1;
    damaged.push(flipped);
    let mut again = Kept::new(JOB, actor(3), author(3));
    let apart = again.restore(damaged.clone()).unwrap_err();
    assert_eq!(apart.len(), 1);
    assert_eq!(again.job().rooms.len(), 1);
    let stored = damaged.into_iter().map(|it| ((), it)).collect();
    assert_eq!(without_apart(stored, &apart).len(), 1, "it is not set apart once more at the next start");
}

#[test]
fn a_change_that_does_not_fit_takes_no_other_with_it() {
    let (mut one, mut same_actor, mut other) = (Phone::new(1), Phone::new(1), Phone::new(2));
    one.act("hall");
    same_actor.act("den");
    other.act("attic");
    let stored = [&one, &same_actor, &other].map(|it| it.disk.changes[0].clone());
    let mut again = Kept::new(JOB, actor(3), author(3));
    let apart = again.restore(stored.to_vec()).unwrap_err();
    assert_eq!(apart.iter().map(|it| &it.bytes).collect::<Vec<_>>(), [&stored[1]]);
    assert_eq!(again.job().rooms.len(), 2);
}
