use std::time::{Duration, Instant};

use napline_tests::peer::{Pass, Peer, add_room, hello, new_job};
use napline_tests::server::Server;
use shared_model::guard;
use shared_model::ids::JobId;
use shared_model::job::{JobDoc, SyncState, Timestamp};
use shared_model::seal::SealKey;
use shared_model::wire::{Frame, Hello, MOST_FRAME_BYTES, PROTOCOL};
use uuid::Uuid;

async fn sharing(server: &Server) -> (Peer, JobId) {
    let mut ada = Pass::by_link(&server.pairing_link(), "Ada").await.connect().await;
    let job = new_job();
    ada.open_and_catch_up(job).await;
    (ada, job)
}

/// Ada and Ben, both with the hall that Ada has entered.
async fn sharing_a_hall(server: &Server) -> (Peer, Peer, JobId) {
    let (mut ada, job) = sharing(server).await;
    let mut ben = ada.pass.pair_another("Ben").await.connect().await;
    ben.open_and_catch_up(job).await;
    let hall = ada.edit(job, &[add_room("Hall")]).await;
    ben.until("the hall", |it| it.copies[&job].has(&hall)).await;
    (ada, ben, job)
}

/// The server still answers, and the job still works.
async fn still_fine(pass: &Pass, job: JobId) {
    let mut phone = pass.connect().await;
    phone.open_and_catch_up(job).await;
    let hash = phone.edit(job, &[add_room("Still fine")]).await;
    phone.until("the receipt", |it| it.copies[&job].acked.contains(&hash)).await;
}

#[tokio::test]
async fn garbage_ends_the_connection_and_nothing_else() {
    let server = Server::start();
    let (ada, job) = sharing(&server).await;
    for garbage in [vec![], vec![0xff; 100], vec![5], b"GET / HTTP/1.1".to_vec()] {
        let mut phone = ada.pass.connect().await;
        phone.send_bytes(garbage).await.unwrap();
        let reason = phone.until_gone().await;
        assert!(reason.starts_with("not understood"), "{reason}");
    }
    still_fine(&ada.pass, job).await;
}

#[tokio::test]
async fn a_frame_that_is_too_long_ends_the_connection() {
    let server = Server::start();
    let (ada, job) = sharing(&server).await;
    let mut phone = ada.pass.connect().await;
    let sent = phone.send_bytes(vec![0; MOST_FRAME_BYTES + 1]).await;
    let heard = tokio::time::timeout(Duration::from_secs(20), async { while phone.hear().await {} });
    assert!(sent.is_err() || heard.await.is_ok(), "the server hangs up");
    still_fine(&ada.pass, job).await;
}

#[tokio::test]
async fn only_hello_opens_the_conversation() {
    let server = Server::start();
    let (ada, job) = sharing(&server).await;
    let other_protocol = Hello { protocol: PROTOCOL + 1, schema: 1, build: String::new() };
    for (first, answer) in
        [(Frame::Open { job }, "not understood"), (Frame::Hello(other_protocol), "this app speaks version")]
    {
        let goodbye = ada.pass.turned_away(&first).await;
        assert!(goodbye.starts_with(answer), "{goodbye}");
    }
}

#[tokio::test]
async fn a_change_of_a_job_that_is_not_open_is_not_taken_and_stays_with_the_phone() {
    let server = Server::start();
    let (mut ada, job) = sharing(&server).await;
    let closed = new_job();
    let (hash, frame) = ada.edit_offline(closed, &[add_room("Hall")]);
    ada.send(&frame).await;
    let den = ada.edit(job, &[add_room("Den")]).await;
    ada.until("the receipt", |it| it.copies[&job].acked.contains(&den)).await;
    assert!(ada.copies[&closed].waiting.contains_key(&hash) && ada.copies[&closed].nacked.is_empty());
    ada.open(closed).await;
    ada.until("the receipt", |it| it.copies[&closed].acked.contains(&hash)).await;
}

#[tokio::test]
async fn a_change_in_somebody_elses_name_is_refused() {
    let server = Server::start();
    let (mut ada, mut ben, job) = sharing_a_hall(&server).await;

    let mut forged = JobDoc::new(job, *Uuid::new_v4().as_bytes(), ada.device());
    let forged = forged.edit(&[add_room("Forged")], "test", Timestamp(0)).unwrap().unwrap();
    let forged_hash = forged.hash.0;
    ben.send(&Frame::Change { job, change: forged.bytes, proof: None }).await;
    ben.until("the refusal", |it| !it.copies[&job].nacked.is_empty()).await;
    assert!(ben.copies[&job].nacked[0].1.contains("another device"), "{:?}", ben.copies[&job].nacked);
    assert_eq!(ben.copies[&job].nacked[0].0, Some(forged_hash), "the phone is told which change to set apart");

    // Nor can Ben go on where Ada's page stopped: her actor is hers.
    let saved = ada.copies[&job].doc.save();
    let actor = ada_actor(&ada, job);
    let mut stolen = JobDoc::load(job, &saved, actor, ada.device()).unwrap();
    let stolen = stolen.edit(&[add_room("Stolen")], "test", Timestamp(0)).unwrap().unwrap();
    ben.send(&Frame::Change { job, change: stolen.bytes, proof: None }).await;
    ben.until("the refusal", |it| it.copies[&job].nacked.len() == 2).await;

    ada.listen_for(Duration::from_millis(300)).await;
    assert_eq!(ada.copies[&job].room_names().into_iter().collect::<Vec<_>>(), ["Hall"]);
}

#[tokio::test]
async fn what_a_phone_brings_in_somebody_elses_name_needs_a_servers_seal() {
    let server = Server::start();
    let (mut ada, mut ben, job) = sharing_a_hall(&server).await;

    // In a catch-up everybody's changes may come: but a new one in Ada's name, or one that goes on where her page stopped?
    let fresh = *Uuid::new_v4().as_bytes();
    for (name, actor) in [("Forged", fresh), ("Stolen", ada_actor(&ada, job))] {
        let mut copy = JobDoc::load(job, &ada.copies[&job].doc.save(), actor, ada.device()).unwrap();
        let forged = copy.edit(&[add_room(name)], "test", Timestamp(0)).unwrap().unwrap();
        let message = copy.sync_message(&mut SyncState::new(), false).unwrap();
        let refusals = ben.copies[&job].nacked.len();
        ben.send(&Frame::Sync { job, message, seal: None }).await;
        // The server asks for what the message speaks of.
        let vetted = guard::change(&forged.bytes, None).unwrap();
        ben.copies.get_mut(&job).unwrap().doc.apply(vec![vetted]).unwrap();
        // A seal of his own making proves nothing.
        let seal = SealKey::new(&[1; 32]).seal(job, vec![forged.hash.0]);
        ben.send(&Frame::Sealed { job, seal }).await;
        ben.until("the refusal", |it| it.copies[&job].nacked.len() > refusals).await;
        assert_eq!(ben.copies[&job].nacked[refusals].0, Some(forged.hash.0), "{:?}", ben.copies[&job].nacked);
        assert!(ben.copies[&job].nacked[refusals].1.contains("vouches"), "{:?}", ben.copies[&job].nacked);
        let copies = ben.lose_connection();
        ben = ada.pass.pair_another("Ben").await.connect().await;
        ben.open_and_catch_up(job).await;
        drop(copies);
    }
    let den = ada.edit(job, &[add_room("Den")]).await;
    ada.until("the receipt", |it| it.copies[&job].acked.contains(&den)).await;
    assert_eq!(ada.copies[&job].room_names().into_iter().collect::<Vec<_>>(), ["Den", "Hall"]);
}

/// An actor that the server has never seen begin is nobody's, and not that of whoever writes under it first.
#[tokio::test]
async fn nobody_goes_on_under_an_actor_that_another_server_knows() {
    let (van, shop) = (Server::start(), Server::start());
    let (mut ada, job) = sharing(&van).await;
    ada.edit(job, &[add_room("Hall")]).await;
    let den = ada.edit(job, &[add_room("Den")]).await;
    ada.until("the receipt", |it| it.copies[&job].acked.contains(&den)).await;

    // At the shop Ben goes on where her page stopped, before anybody has brought what she began.
    let mut ben = Pass::by_link(&shop.pairing_link(), "Ben").await.connect().await;
    ben.open_and_catch_up(job).await;
    let mut stolen = JobDoc::load(job, &ada.copies[&job].doc.save(), ada_actor(&ada, job), ada.device()).unwrap();
    let stolen = stolen.edit(&[add_room("Stolen")], "test", Timestamp(0)).unwrap().unwrap();
    ben.send(&Frame::Change { job, change: stolen.bytes, proof: None }).await;
    let attic = ben.edit(job, &[add_room("Attic")]).await;
    ben.until("his own receipt", |it| it.copies[&job].acked.contains(&attic)).await;

    // Then what she did comes, as from another shop; his forgery was not kept to wait for it.
    let hers: Vec<Vec<u8>> = ada.copies[&job].doc.changes_since(&[]).into_iter().map(|it| it.bytes).collect();
    ben.take_changes(job, &hers);
    ben.open(job).await;
    ben.until("the shop to have it all", |it| it.copies[&job].server_has_all()).await;
    let mut reader = ben.pass.pair_another("Cleo").await.connect().await;
    reader.open_and_catch_up(job).await;
    assert_eq!(reader.copies[&job].room_names().into_iter().collect::<Vec<_>>(), ["Attic", "Den", "Hall"]);
}

fn ada_actor(ada: &Peer, job: JobId) -> [u8; 16] {
    let change = &ada.copies[&job].doc.changes_since(&[]);
    let last = change.last().unwrap();
    guard::change(&last.bytes, None).unwrap().actor().to_bytes().try_into().unwrap()
}

#[tokio::test]
async fn whoever_sends_too_much_rubbish_stays_out_for_a_while() {
    let server = Server::start();
    let (mut ada, job) = sharing(&server).await;
    let ben = ada.pass.pair_another("Ben").await;
    for _ in 0..40 {
        let rubbish = Frame::Change { job, change: vec![0x85, 0x6f, 0x4a, 0x83, 1, 2, 3], proof: None };
        if ada.send_bytes(rubbish.encode()).await.is_err() {
            break;
        }
    }
    let reason = ada.until_gone().await;
    assert!(reason.contains("too many changes of this device were refused"), "{reason}");
    assert!(!ada.copies[&job].nacked.is_empty(), "it was told why before");
    assert!(ada.pass.turned_away(&hello()).await.contains("too many changes"));
    still_fine(&ben, job).await;
}

#[tokio::test]
async fn a_flood_is_read_slowly_and_loses_nothing() {
    let server = Server::start();
    let (mut ada, job) = sharing(&server).await;
    let mut ben = ada.pass.pair_another("Ben").await.connect().await;
    ben.open_and_catch_up(job).await;
    let frames: Vec<_> = (0..700).map(|n| ada.edit_offline(job, &[add_room(&format!("Room {n}"))])).collect();
    let start = Instant::now();
    let last = frames.last().unwrap().0;
    for (_, frame) in &frames {
        ada.send(frame).await;
    }
    // Others are served meanwhile.
    let den = ben.edit(job, &[add_room("Den")]).await;
    ben.until("Ben's receipt", |it| it.copies[&job].acked.contains(&den)).await;
    ada.until("the last receipt", |it| it.copies[&job].acked.contains(&last)).await;
    let rate = start.elapsed();
    assert!(rate > Duration::from_secs(2), "700 changes of one phone took only {rate:?}");
    assert_eq!(ada.copies[&job].acked.len(), 700);
}

#[tokio::test]
async fn a_hostile_catch_up_message_is_refused() {
    let server = Server::start();
    let (mut ada, job) = sharing(&server).await;
    // Bits per entry are zero: the division that panics in an unguarded reader.
    let message = vec![0x42, 0, 0, 1, 0, 3, 1, 0, 7, 0];
    ada.send(&Frame::Sync { job, message, seal: None }).await;
    ada.until("the refusal", |it| !it.copies[&job].nacked.is_empty()).await;
    still_fine(&ada.pass, job).await;
}

#[tokio::test]
async fn the_ninth_window_of_a_device_closes_its_oldest() {
    let server = Server::start();
    let (mut oldest, job) = sharing(&server).await;
    let mut windows = Vec::new();
    for _ in 0..8 {
        windows.push(oldest.pass.connect().await);
    }
    assert!(oldest.until_gone().await.contains("too many connections"));
    let newest = windows.last_mut().unwrap();
    newest.open_and_catch_up(job).await;
    let hash = newest.edit(job, &[add_room("Hall")]).await;
    newest.until("the receipt", |it| it.copies[&job].acked.contains(&hash)).await;
}
