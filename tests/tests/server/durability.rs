use std::collections::BTreeSet;
use std::process::{Command, Stdio};
use std::time::Duration;

use napline_tests::peer::{Pass, Peer, add_room, new_job};
use napline_tests::server::{Server, binary, free_port};
use shared_model::ids::JobId;
use shared_model::job::Edit;

use crate::people::pair;

/// A phone that knows nothing reads the job: what it sees can only come from the server.
async fn fresh_reader(pass: &Pass) -> Peer {
    pass.pair_another("Reader").await.connect().await
}

#[tokio::test]
async fn a_kill_in_a_burst_loses_nothing_that_was_acknowledged() {
    let mut server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let job = new_job();
    let mut acked = BTreeSet::new();
    for round in 0..3 {
        let mut phone = ada.connect().await;
        phone.open_and_catch_up(job).await;
        for n in 0..150 {
            phone.edit(job, &[add_room(&format!("{round}.{n}"))]).await;
        }
        let wanted = 20 + 30 * round;
        phone.until("some receipts", |it| it.copies[&job].acked.len() >= wanted).await;
        server.kill();
        while phone.hear().await {}
        acked.extend(phone.copies[&job].acked.iter().copied());
        server.restart();
    }
    let mut reader = fresh_reader(&ada).await;
    reader.open_and_catch_up(job).await;
    let stored: BTreeSet<_> = reader.copies[&job].doc.changes_since(&[]).iter().map(|it| it.hash.0).collect();
    assert!(acked.len() >= 20 + 50 + 80);
    assert_eq!(acked.difference(&stored).count(), 0, "of {} acknowledged changes", acked.len());
}

/// The server is killed while one phone measures and another one sees it. Answers what the other has seen.
async fn killed_while_seen(server: &mut Server, writer: &Pass, watcher: &Pass) -> (JobId, Peer) {
    let job = new_job();
    let (mut writer, mut watcher) = (writer.connect().await, watcher.connect().await);
    writer.open_and_catch_up(job).await;
    watcher.open_and_catch_up(job).await;
    for n in 0..100 {
        writer.edit(job, &[add_room(&format!("{n}"))]).await;
    }
    watcher.until("some rooms", |it| it.copies[&job].room_names().len() >= 30).await;
    server.kill();
    while watcher.hear().await {}
    server.restart();
    (job, watcher)
}

#[tokio::test]
async fn what_a_viewer_has_seen_is_on_disk() {
    let mut server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let ben = pair(&ada, "viewer", "Ben").await;
    let (job, watcher) = killed_while_seen(&mut server, &ada, &ben).await;
    let mut reader = fresh_reader(&ada).await;
    reader.open_and_catch_up(job).await;
    assert!(reader.copies[&job].room_names().is_superset(&watcher.copies[&job].room_names()));
}

/// Who measured it never comes back: whoever saw it has it, and brings it.
#[tokio::test]
async fn what_another_phone_has_seen_is_not_lost_with_the_server() {
    let mut server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let ben = ada.pair_another("Ben").await;
    let (job, watcher) = killed_while_seen(&mut server, &ada, &ben).await;
    let seen: BTreeSet<_> = watcher.copies[&job].room_names();
    let mut again = ben.connect().await;
    again.copies = watcher.lose_connection();
    again.open_and_bring(job).await;
    let mut reader = fresh_reader(&ada).await;
    reader.open(job).await;
    reader.until("what was seen", |it| it.copies[&job].room_names().is_superset(&seen)).await;
}

#[tokio::test]
async fn a_long_job_is_read_back_whole() {
    let mut server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let job = new_job();
    let mut phone = ada.connect().await;
    for n in 0..1_200 {
        phone.edit_offline(job, &[Edit::NameJob { name: format!("name {n}") }]);
    }
    phone.open(job).await;
    phone.until("everything confirmed", |it| it.copies[&job].waiting.is_empty()).await;
    // Past the snapshot that so many changes bring about.
    let mut last = phone.edit(job, &[add_room("Hall")]).await;
    for n in 0..5 {
        last = phone.edit(job, &[add_room(&format!("Room {n}"))]).await;
    }
    phone.until("the receipt", |it| it.copies[&job].acked.contains(&last)).await;
    assert!(server.stop().success());
    server.restart();
    let mut reader = fresh_reader(&ada).await;
    reader.open_and_catch_up(job).await;
    assert_eq!(reader.copies[&job].doc.heads(), phone.copies[&job].doc.heads());
    assert_eq!(reader.copies[&job].doc.job(), phone.copies[&job].doc.job());
}

/// A byte of a change goes bad on the disk, where the store itself does not notice.
pub fn damage(server: &Server, change: &[u8]) {
    let path = server.folder().join("napline.redb");
    let mut file = std::fs::read(&path).unwrap();
    let at = file.windows(change.len()).position(|it| it == change).unwrap();
    file[at + change.len() / 2] ^= 1;
    std::fs::write(&path, file).unwrap();
}

#[tokio::test]
async fn what_is_damaged_is_named_the_rest_opens_and_who_has_it_mends_it() {
    let mut server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let ben = ada.pair_another("Ben").await;
    let (mut ada, mut ben) = (ada.connect().await, ben.connect().await);
    let job = new_job();
    ada.open_and_catch_up(job).await;
    let den = ada.edit(job, &[add_room("Den")]).await;
    ada.until("the receipt", |it| it.copies[&job].acked.contains(&den)).await;
    ben.open_and_catch_up(job).await;
    let hall = ben.edit(job, &[add_room("Hall")]).await;
    ben.until("the receipt", |it| it.copies[&job].acked.contains(&hall)).await;
    let bytes = ben.copies[&job].doc.changes_since(&[]).into_iter().find(|it| it.hash.0 == hall).unwrap().bytes;
    server.stop();
    damage(&server, &bytes);
    server.restart();

    // Phones that had all of it open the job again: one of them has what is lost.
    let mut reader = ada.pass.connect().await;
    reader.until("that the damage was found", |it| it.jobs.iter().any(|it| it.mark.is_none())).await;
    reader.open_and_catch_up(job).await;
    reader.until("what is lost", |it| it.damaged.contains_key(&job)).await;
    assert_eq!(reader.damaged[&job].iter().map(|it| it.who.as_str()).collect::<Vec<_>>(), ["Ben"]);
    assert_eq!(reader.copies[&job].room_names().into_iter().collect::<Vec<_>>(), ["Den"]);
    let mut again = ben.pass.connect().await;
    again.copies = ben.lose_connection();
    again.open_and_bring(job).await;
    reader.until("the mended job", |it| it.copies[&job].room_names().len() == 2).await;
    reader.until("that nothing is lost any more", |it| it.damaged[&job].is_empty()).await;
    reader.until("the mark of a whole job", |it| it.jobs.iter().all(|it| it.mark.is_some())).await;
}

#[tokio::test]
async fn a_stopping_server_says_goodbye_and_ends_well() {
    let mut server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let job = new_job();
    let mut phone = ada.connect().await;
    phone.open_and_catch_up(job).await;
    let hash = phone.edit(job, &[add_room("Hall")]).await;
    phone.until("the receipt", |it| it.copies[&job].acked.contains(&hash)).await;
    let stopped = tokio::task::spawn_blocking(move || {
        let status = server.stop();
        (server, status)
    });
    assert_eq!(phone.until_gone().await, "the server is stopping");
    let (mut server, status) = stopped.await.unwrap();
    assert_eq!(status.code(), Some(0));
    server.restart();
    let mut reader = fresh_reader(&ada).await;
    reader.open_and_catch_up(job).await;
    assert!(reader.copies[&job].has(&hash));
}

#[tokio::test]
async fn a_second_server_on_the_same_data_is_refused() {
    let server = Server::start();
    let mut second = Command::new(binary());
    second.args(["serve", "--listen", &format!("127.0.0.1:{}", free_port()), "--data"]).arg(server.folder());
    let output = second.stdin(Stdio::null()).output().unwrap();
    assert_eq!(output.status.code(), Some(3));
    let message = String::from_utf8_lossy(&output.stderr);
    assert!(message.contains("another napline is using") && message.contains("--data"), "{message}");
    assert_eq!(Pass::by_link(&server.pairing_link(), "Ada").await.connect().await.welcome.you.name, "Ada");
}

#[tokio::test]
async fn a_full_disk_stops_writing_but_not_reading_and_loses_nothing() {
    let mut server = Server::start_on_full_disk(400);
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let ben = ada.pair_another("Ben").await;
    let job = new_job();
    let mut phone = ada.connect().await;
    phone.open_and_catch_up(job).await;
    let first = phone.edit(job, &[add_room("Hall")]).await;
    phone.until("the receipt", |it| it.copies[&job].acked.contains(&first)).await;

    // Text that does not compress fills the disk.
    let mut n = 0;
    while phone.goodbye.is_none() {
        let noise = || (0..5).map(|_| uuid::Uuid::new_v4().simple().to_string()).collect::<String>();
        let rooms: Vec<_> = (0..10).map(|_| add_room(&noise())).collect();
        let (_, frame) = phone.edit_offline(job, &rooms);
        if phone.send_bytes(frame.encode()).await.is_err() {
            break;
        }
        n += 1;
        assert!(n < 5_000, "the disk never became full");
        phone.listen_for(Duration::ZERO).await;
    }
    let reason = phone.until_gone().await;
    assert!(reason.starts_with("the server cannot store changes"), "{reason}");
    let acked = phone.copies[&job].acked.clone();
    let waiting = phone.copies[&job].waiting.len();
    assert!(acked.contains(&first) && waiting > 0);

    let mut reader = ben.connect().await;
    reader.open_and_catch_up(job).await;
    let stored: BTreeSet<_> = reader.copies[&job].doc.changes_since(&[]).iter().map(|it| it.hash.0).collect();
    assert!(stored.is_superset(&acked), "everything acknowledged can be read while the disk is full");

    server.kill();
    server.free_space();
    server.restart();
    let mut again = ada.connect().await;
    again.copies = phone.lose_connection();
    again.open_and_bring(job).await;
    // What was stored without its receipt is not caught up: as the client does, it is sent again.
    again.send_waiting(job).await;
    again.until("everything confirmed", |it| it.copies[&job].waiting.is_empty()).await;
    let mut reader = fresh_reader(&ada).await;
    reader.open_and_catch_up(job).await;
    assert_eq!(reader.copies[&job].doc.heads(), again.copies[&job].doc.heads());
}
