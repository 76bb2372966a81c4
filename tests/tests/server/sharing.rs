use napline_tests::peer::{Pass, Peer, add_room, new_job};
use napline_tests::server::Server;
use shared_model::ids::JobId;
use shared_model::job::Edit;
use shared_model::wire::Whereabouts;
use std::time::Duration;

async fn two_phones(server: &Server) -> (Peer, Peer) {
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let ben = ada.pair_another("Ben").await;
    (ada.connect().await, ben.connect().await)
}

#[tokio::test]
async fn what_one_phone_measures_the_other_sees() {
    let server = Server::start();
    let (mut ada, mut ben) = two_phones(&server).await;
    let job = new_job();
    ada.open_and_catch_up(job).await;
    ben.open_and_catch_up(job).await;

    let hall = ada.edit(job, &[add_room("Hall")]).await;
    let den = ben.edit(job, &[add_room("Den")]).await;
    ada.until("Ben's room", |it| it.copies[&job].has(&den)).await;
    ben.until("Ada's room", |it| it.copies[&job].has(&hall)).await;
    ada.until("the receipt", |it| it.copies[&job].acked.contains(&hall)).await;
    ben.until("the receipt", |it| it.copies[&job].acked.contains(&den)).await;
    assert_eq!(ada.copies[&job].doc.job(), ben.copies[&job].doc.job());
    assert_eq!(ada.copies[&job].room_names().into_iter().collect::<Vec<_>>(), ["Den", "Hall"]);
}

/// As it happens when a phone comes to a server that has not heard of the others' work: the van's, or one from a backup.
#[tokio::test]
async fn who_brings_what_another_wrote_does_not_become_its_author() {
    let mut server = Server::start();
    let (mut ada, mut ben) = two_phones(&server).await;
    server.stop();
    let yesterday = tempfile::tempdir().unwrap();
    for file in ["napline.redb", "seals.key"] {
        std::fs::copy(server.folder().join(file), yesterday.path().join(file)).unwrap();
    }
    server.restart();
    let job = new_job();
    (ada, ben) = (ada.pass.connect().await, ben.pass.connect().await);
    ada.open_and_catch_up(job).await;
    ben.open_and_catch_up(job).await;
    for room in ["Hall", "Den", "Bath"] {
        ada.edit(job, &[add_room(room)]).await;
    }
    ben.until("Ada's rooms", |it| it.copies[&job].room_names().len() == 3).await;
    server.kill();

    // The server has lost today; the phones have it.
    let server = Server::start_in(yesterday);
    let at = |it: &Pass| Pass { address: server.address(), ..it.clone() };
    let (ada_pass, ben_pass) = (at(&ada.pass), at(&ben.pass));
    let (of_ada, of_ben) = (ada.lose_connection(), ben.lose_connection());
    let mut ben = ben_pass.connect().await;
    ben.copies = of_ben;
    ben.edit_offline(job, &[add_room("Attic")]);
    ben.open_and_bring(job).await;
    assert_eq!(ben.copies[&job].nacked, [], "the lost server's seals are its own");

    let mut ada = ada_pass.connect().await;
    ada.copies = of_ada;
    ada.open_and_catch_up(job).await;
    let cellar = ada.edit(job, &[add_room("Cellar")]).await;
    ada.until("an answer", |it| it.copies[&job].acked.contains(&cellar) || !it.copies[&job].nacked.is_empty()).await;
    assert_eq!(ada.copies[&job].nacked, []);
    ben.until("Ada's room", |it| it.copies[&job].has(&cellar)).await;
}

#[tokio::test]
async fn a_phone_that_was_away_catches_up_both_ways() {
    let server = Server::start();
    let (mut ada, mut ben) = two_phones(&server).await;
    let job = new_job();
    ada.open_and_catch_up(job).await;
    ben.open_and_catch_up(job).await;
    let first = ada.edit(job, &[add_room("Hall")]).await;
    ben.until("the hall", |it| it.copies[&job].has(&first)).await;

    let pass = ben.pass.clone();
    let kept = ben.lose_connection();
    let mut last = first;
    for n in 0..100 {
        last = ada.edit(job, &[add_room(&format!("Ada's {n}"))]).await;
    }
    ada.until("the receipts", |it| it.copies[&job].acked.contains(&last)).await;

    let mut ben = pass.connect().await;
    ben.copies = kept;
    for n in 0..100 {
        ben.edit_offline(job, &[add_room(&format!("Ben's {n}"))]);
    }
    ben.open(job).await;
    ben.until("everything confirmed", |it| it.copies[&job].waiting.is_empty()).await;
    ben.until("Ada's rooms", |it| it.copies[&job].room_names().len() == 201).await;
    ada.until("Ben's rooms", |it| it.copies[&job].room_names().len() == 201).await;
    assert_eq!(ada.copies[&job].doc.job(), ben.copies[&job].doc.job());
    assert_eq!(ben.copies[&job].acked.len(), 100, "each of Ben's changes is confirmed by name");
}

#[tokio::test]
async fn more_offline_work_than_one_frame_holds_arrives() {
    let server = Server::start();
    let (mut ada, mut ben) = two_phones(&server).await;
    let job = new_job();
    let long = "x".repeat(190);
    for n in 0..4_000 {
        ada.edit_offline(job, &[Edit::NameJob { name: format!("{n} {long}") }]);
    }
    ada.open(job).await;
    ada.until("everything confirmed", |it| it.copies[&job].waiting.is_empty()).await;
    ben.open_and_catch_up(job).await;
    ben.until("the last name", |it| it.copies[&job].doc.job().name.starts_with("3999 ")).await;
    assert_eq!(ben.copies[&job].doc.heads(), ada.copies[&job].doc.heads());
}

#[tokio::test]
async fn a_change_whose_ground_is_missing_is_asked_for() {
    let server = Server::start();
    let (mut ada, _) = two_phones(&server).await;
    let job = new_job();
    ada.open_and_catch_up(job).await;
    let (first, _never_sent) = ada.edit_offline(job, &[add_room("Hall")]);
    let second = ada.edit(job, &[add_room("Den")]).await;
    ada.until("both confirmed", |it| it.copies[&job].acked.contains(&second)).await;
    assert!(ada.copies[&job].acked.contains(&first), "the server asked for the first change and kept it");
}

#[tokio::test]
async fn a_change_sent_again_is_confirmed_again_and_kept_once() {
    let server = Server::start();
    let (mut ada, mut ben) = two_phones(&server).await;
    let job = new_job();
    ada.open_and_catch_up(job).await;
    let (hash, frame) = ada.edit_offline(job, &[add_room("Hall")]);
    for _ in 0..3 {
        ada.send(&frame).await;
        ada.until("the receipt", |it| it.copies[&job].acked.contains(&hash)).await;
        ada.copies.get_mut(&job).unwrap().acked.clear();
    }
    ben.open_and_catch_up(job).await;
    assert_eq!(ben.copies[&job].room_names().len(), 1);
}

#[tokio::test]
async fn everybody_sees_who_is_where() {
    let server = Server::start();
    let (mut ada, mut ben) = two_phones(&server).await;
    let job = new_job();
    ada.open_and_catch_up(job).await;
    ada.send(&shared_model::wire::Frame::Presence { job, who: None, at: Whereabouts::Job }).await;
    // An answer to a later frame shows that the server has taken the earlier one.
    let hash = ada.edit(job, &[add_room("Hall")]).await;
    ada.until("the receipt", |it| it.copies[&job].acked.contains(&hash)).await;

    let ada_is = (job, ada.device());
    ben.open(job).await;
    ben.until("where Ada is", |it| it.seen.contains_key(&ada_is)).await;
    assert_eq!(ben.seen[&ada_is].0.name, "Ada");
    assert_eq!(ben.seen[&ada_is].1, Whereabouts::Job);
    drop(ada);
    ben.until("that Ada left", |it| it.seen[&ada_is].1 == Whereabouts::Gone).await;
}

#[tokio::test]
async fn nobody_can_speak_for_another_in_presence() {
    let server = Server::start();
    let (mut ada, mut ben) = two_phones(&server).await;
    let job = new_job();
    ada.open_and_catch_up(job).await;
    ben.open_and_catch_up(job).await;
    let who = Some(ben.welcome.you.clone());
    ada.send(&shared_model::wire::Frame::Presence { job, who, at: Whereabouts::Job }).await;
    let ada_is = (job, ada.device());
    ben.until("where Ada is", |it| it.seen.contains_key(&ada_is)).await;
    assert_eq!(ben.seen.len(), 1);
    assert_eq!(ben.seen[&ada_is].0.name, "Ada");
}

#[tokio::test]
async fn the_list_of_jobs_follows_on_every_phone() {
    let server = Server::start();
    let (mut ada, mut ben) = two_phones(&server).await;
    let job = new_job();
    ada.open_and_catch_up(job).await;
    ada.edit(job, &[Edit::NameJob { name: "Mill Lane".into() }]).await;
    let named = |it: &Peer, name: &str| it.jobs.iter().any(|entry| entry.job == job && entry.name == name);
    ben.until("the new job", |it| named(it, "Mill Lane")).await;
    ada.edit(job, &[Edit::NameJob { name: "Mill Lane 7".into() }]).await;
    ben.until("the new name", |it| named(it, "Mill Lane 7")).await;
    assert_eq!(ben.jobs.len(), 1);
}

#[tokio::test]
async fn nothing_comes_before_the_welcome() {
    let server = Server::start();
    let (mut ada, mut ben) = two_phones(&server).await;
    let job = new_job();
    ada.open_and_catch_up(job).await;
    let late = ben.pass.clone();
    late.connect_late(async {
        ada.edit(job, &[add_room("Den")]).await;
        ben.until("that the list was told", |it| it.jobs.len() == 1).await;
    })
    .await;
}

#[tokio::test]
async fn the_list_says_when_something_is_new_in_a_job() {
    let mut server = Server::start();
    let (mut ada, mut ben) = two_phones(&server).await;
    let job = new_job();
    ada.open_and_catch_up(job).await;
    ada.edit(job, &[add_room("Den")]).await;
    ben.until("the new job", |it| it.jobs.len() == 1).await;
    let first = ben.jobs[0].mark;
    assert!(first.is_some());
    ada.edit(job, &[add_room("Hall")]).await;
    ben.until("another mark", |it| it.jobs[0].mark != first).await;
    let second = ben.jobs[0].mark;
    assert!(second.is_some());
    // A new start is nothing new.
    server.stop();
    server.restart();
    let mut again = ben.pass.connect().await;
    again.until("the list", |it| !it.jobs.is_empty()).await;
    assert_eq!(again.jobs[0].mark, second);
}

#[tokio::test]
async fn more_jobs_than_the_server_keeps_in_memory_work_all_the_same() {
    let server = Server::start();
    let (mut ada, mut ben) = two_phones(&server).await;
    let jobs: Vec<JobId> = (0..100).map(|_| new_job()).collect();
    for round in ["first", "second"] {
        for job in &jobs {
            if round == "first" {
                ada.open(*job).await;
            }
            let hash = ada.edit(*job, &[add_room(round)]).await;
            ada.until("the receipt", |it| it.copies[job].acked.contains(&hash)).await;
        }
    }
    for job in &jobs {
        ben.open_and_catch_up(*job).await;
        assert_eq!(ben.copies[job].room_names().into_iter().collect::<Vec<_>>(), ["first", "second"]);
    }
}

#[tokio::test]
async fn looking_at_an_unknown_job_makes_none() {
    let mut server = Server::start();
    let (mut ada, _) = two_phones(&server).await;
    ada.open_and_catch_up(new_job()).await;
    server.stop();
    server.restart();
    let mut ada = ada.pass.connect().await;
    ada.listen_for(Duration::from_millis(500)).await;
    assert_eq!(ada.jobs, []);
}

/// After a loss on the server, what one phone wrote may only live on another one.
#[tokio::test]
async fn a_phone_brings_back_what_others_wrote() {
    let old = Server::start();
    let (mut ada, mut ben) = two_phones(&old).await;
    let job = new_job();
    ada.open_and_catch_up(job).await;
    ben.open_and_catch_up(job).await;
    let hall = ada.edit(job, &[add_room("Hall")]).await;
    ben.until("the hall", |it| it.copies[&job].has(&hall)).await;
    let den = ben.edit(job, &[add_room("Den")]).await;
    ben.until("the receipt", |it| it.copies[&job].acked.contains(&den)).await;
    let ada_id = ada.device();
    drop(old);

    let new = Server::start();
    let mut again = Pass::by_link(&new.pairing_link(), "Ben").await.connect().await;
    again.copies = ben.lose_connection();
    again.open_and_bring(job).await;
    let mut reader = again.pass.pair_another("Cleo").await.connect().await;
    reader.open(job).await;
    reader.until("both rooms", |it| it.copies[&job].room_names().len() == 2).await;
    let authors: Vec<_> = reader.copies[&job].doc.job().people.into_keys().collect();
    assert!(authors.is_empty() || authors.contains(&ada_id));
}

#[tokio::test]
async fn the_demo_house_is_there_once() {
    let mut server = Server::start_demo();
    let (mut ada, _) = two_phones(&server).await;
    ada.until("the list", |it| it.jobs.len() == 1 && !it.jobs[0].name.is_empty()).await;
    let demo: JobId = ada.jobs[0].job;
    ada.open(demo).await;
    ada.until("the demo's rooms", |it| it.copies[&demo].room_names().len() >= 5).await;
    let heads = ada.copies[&demo].doc.heads();
    server.stop();
    server.restart();
    let mut ada = ada.pass.connect().await;
    ada.until("the list", |it| it.jobs.len() == 1).await;
    ada.open(demo).await;
    ada.until("the same demo", |it| it.copies[&demo].doc.heads() == heads).await;
}
