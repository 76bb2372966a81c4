use std::collections::{BTreeMap, BTreeSet};
use std::time::{Duration, Instant};

use napline_tests::cable::Cable;
use napline_tests::peer::{Pass, Peer, add_room, http, new_job, trusting};
use napline_tests::server::{PATIENCE, Server};
use reqwest::StatusCode;
use reqwest::header::{CONTENT_TYPE, COOKIE, ORIGIN};
use serde_json::{Value, json};
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::ChangeHash;

use crate::durability::damage;

/// A link for another server, made by an owner.
pub async fn server_link(owner: &Pass) -> String {
    owner.invite_server().await
}

/// An owner of one server pairs it with another.
pub async fn join(owner: &Pass, link: &str) -> StatusCode {
    owner.join_server(link).await
}

/// A shop and a van that were paired, each with its owner's pass.
async fn shop_and_van() -> (Server, Server, Pass, Pass) {
    let (shop, van) = (Server::start(), Server::start_with(&["--shop", "van 2"]));
    let in_shop = Pass::by_link(&shop.pairing_link(), "Ada").await;
    let in_van = Pass::by_link(&van.pairing_link(), "Ben").await;
    assert_eq!(join(&in_van, &server_link(&in_shop).await).await, StatusCode::OK);
    (shop, van, in_shop, in_van)
}

fn rooms(phone: &Peer, job: JobId) -> BTreeSet<String> {
    phone.copies[&job].doc.job().rooms.into_iter().map(|it| it.name).collect()
}

async fn until_rooms(phone: &mut Peer, job: JobId, names: &[&str]) {
    let wanted: BTreeSet<String> = names.iter().map(|it| (*it).to_owned()).collect();
    phone.until(&format!("{names:?}"), |it| rooms(it, job) == wanted).await;
}

/// Asks until the answer is right.
pub async fn until(what: &str, mut holds: impl AsyncFnMut() -> bool) {
    let start = Instant::now();
    while !holds().await {
        assert!(start.elapsed() < PATIENCE, "waited too long for {what}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

async fn connected(owner: &Pass) -> bool {
    let told: Value = owner.get("/people").await.json().await.unwrap();
    told["servers"][0]["connected"] == true
}

async fn decide(by: &Pass, about: DeviceId, decision: Value) {
    let post = http().post(format!("{}/people/{about}", by.address)).header(ORIGIN, &by.address);
    let post = post.header(COOKIE, &by.cookie).header(CONTENT_TYPE, "application/json");
    assert_eq!(post.body(decision.to_string()).send().await.unwrap().status(), StatusCode::OK);
}

async fn device(of: &Pass) -> DeviceId {
    let me: Value = of.get("/me").await.json().await.unwrap();
    me["device"].as_str().unwrap().parse().unwrap()
}

#[tokio::test]
async fn what_was_decided_apart_holds_together() {
    let (mut shop, van, in_shop, in_van) = shop_and_van().await;
    let (cem, dee) = (in_shop.pair_another("Cem").await, in_shop.pair_another("Dee").await);
    let (cems, dees) = (device(&cem).await, device(&dee).await);
    let at_van = |it: &Pass| Pass { address: van.address(), ..it.clone() };
    until("the van to know both", async || {
        at_van(&cem).get("/me").await.status() == StatusCode::OK
            && at_van(&dee).get("/me").await.status() == StatusCode::OK
    })
    .await;
    shop.kill();
    until("the line to be cut", async || !connected(&in_van).await).await;
    // The van makes much of Cem and opens a link for Dee's friend; the shop, elsewhere, shuts both out.
    for role in ["viewer", "crew"] {
        decide(&in_van, cems, json!({ "give-role": role })).await;
    }
    let link = at_van(&dee).invite().await;
    van.pause();
    shop.restart();
    decide(&in_shop, cems, json!("revoke")).await;
    decide(&in_shop, dees, json!("revoke")).await;
    van.resume();
    for pass in [&cem, &dee] {
        until("the van to shut them out", async || at_van(pass).get("/me").await.status() == StatusCode::UNAUTHORIZED)
            .await;
        assert_eq!(pass.get("/me").await.status(), StatusCode::UNAUTHORIZED, "and the shop does not let them in again");
    }
    assert_eq!(http().get(&link).send().await.unwrap().status(), StatusCode::GONE, "nor whom they have invited");
}

#[tokio::test]
async fn who_pairs_again_comes_in_at_both() {
    let (_shop, van, in_shop, _in_van) = shop_and_van().await;
    let cem = in_shop.pair_another("Cem").await;
    let at_van = |it: &Pass| Pass { address: van.address(), ..it.clone() };
    until("the van to know Cem", async || at_van(&cem).get("/me").await.status() == StatusCode::OK).await;
    let answer = Pass::post_form(&in_shop.invite().await, "Cem", Some(&cem.cookie)).await;
    let cookie = answer.headers()["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_owned();
    let again = Pass { cookie, ..cem.clone() };
    until("the van to know the new pass", async || at_van(&again).get("/me").await.status() == StatusCode::OK).await;
    assert_eq!(again.get("/me").await.status(), StatusCode::OK);
    assert_eq!(device(&again).await, device(&at_van(&again)).await);
    assert_eq!(at_van(&cem).get("/me").await.status(), StatusCode::UNAUTHORIZED, "the old one is void");
}

#[tokio::test]
async fn a_made_up_cookie_takes_nobodys_place() {
    let (_shop, _van, in_shop, in_van) = shop_and_van().await;
    let owner_of_van = device(&in_van).await;
    let cookie = format!("napline={}.{}", owner_of_van.to_string().replace('-', ""), "0".repeat(64));
    let answer = Pass::post_form(&in_shop.invite().await, "Eve", Some(&cookie)).await;
    let cookie = answer.headers()["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_owned();
    let eve = Pass { address: in_shop.address.clone(), cookie };
    assert_ne!(device(&eve).await, owner_of_van);
    assert_eq!(in_van.get("/me").await.status(), StatusCode::OK);
}

#[tokio::test]
async fn what_is_measured_at_the_van_is_seen_at_the_shop_and_the_other_way() {
    let (_shop, _van, in_shop, in_van) = shop_and_van().await;
    let (mut ada, mut ben) = (in_shop.connect().await, in_van.connect().await);
    let job = new_job();
    ada.open(job).await;
    ada.edit(job, &[add_room("Hall")]).await;
    ben.open(job).await;
    until_rooms(&mut ben, job, &["Hall"]).await;
    ben.edit(job, &[add_room("Den")]).await;
    until_rooms(&mut ada, job, &["Den", "Hall"]).await;
    // A job that begins in the van appears in the shop's list.
    let other = new_job();
    ben.open(other).await;
    ben.edit(other, &[add_room("Attic")]).await;
    ada.until("the new job", |it| it.jobs.iter().any(|of| of.job == other)).await;
    ada.open(other).await;
    until_rooms(&mut ada, other, &["Attic"]).await;
    // Who wrote it stays who wrote it.
    let author = ben.device();
    assert!(
        ada.copies[&other]
            .doc
            .changes_since(&[])
            .iter()
            .any(|it| { shared_model::guard::change(&it.bytes, Some(author)).is_ok_and(|of| of.hash() == it.hash) })
    );
}

#[tokio::test]
async fn apart_both_go_on_and_together_they_have_everything() {
    let (mut shop, mut van, in_shop, in_van) = shop_and_van().await;
    let job = new_job();
    let mut ada = in_shop.connect().await;
    ada.open(job).await;
    ada.edit(job, &[add_room("Hall")]).await;
    let mut ben = in_van.connect().await;
    ben.open(job).await;
    until_rooms(&mut ben, job, &["Hall"]).await;

    // The van drives off: nobody answers it, and both sides measure.
    van.kill();
    let hash = ada.edit(job, &[add_room("Bath")]).await;
    ada.until("the receipt", |it| it.copies[&job].acked.contains(&hash)).await;
    shop.kill();
    van.restart();
    // Ben saw the hall, so it is on the van's disk, or his phone brings it.
    let mut again = in_van.connect().await;
    again.copies = ben.lose_connection();
    let mut ben = again;
    ben.open_and_bring(job).await;
    until_rooms(&mut ben, job, &["Hall"]).await;
    for room in ["Den", "Attic", "Cellar"] {
        let hash = ben.edit(job, &[add_room(room)]).await;
        ben.until("the receipt", |it| it.copies[&job].acked.contains(&hash)).await;
    }
    // Back in the yard; the line is cut twice while they meet.
    for _ in 0..2 {
        shop.restart();
        until("the servers to meet", async || connected(&in_van).await).await;
        shop.kill();
        until("the line to be cut", async || !connected(&in_van).await).await;
    }
    shop.restart();
    let all = ["Attic", "Bath", "Cellar", "Den", "Hall"];
    until_rooms(&mut ben, job, &all).await;
    let mut again = in_shop.connect().await;
    again.open(job).await;
    until_rooms(&mut again, job, &all).await;
}

/// Hundreds of jobs are at rest for two servers that meet every evening.
#[tokio::test]
async fn what_both_have_rests_when_they_meet_again() {
    const JOBS: usize = 120;
    let (shop, van) = (Server::start(), Server::start_with(&["--shop", "van 2"]));
    let in_shop = Pass::by_link(&shop.pairing_link(), "Ada").await;
    let in_van = Pass::by_link(&van.pairing_link(), "Ben").await;
    let cable = Cable::to(&shop);
    let link = server_link(&in_shop).await.replacen(&shop.address(), &cable.address(), 1);
    assert_eq!(join(&in_van, &link).await, StatusCode::OK);
    let (mut ada, mut ben) = (in_shop.connect().await, in_van.connect().await);
    let jobs: Vec<JobId> = (0..JOBS).map(|_| new_job()).collect();
    for job in &jobs {
        ada.open(*job).await;
        ada.edit(*job, &[add_room("Hall")]).await;
    }
    let marks = |of: &Peer| {
        let marks = of.jobs.iter().filter_map(|it| Some((it.job, it.mark?.0)));
        marks.collect::<BTreeMap<_, _>>()
    };
    until("both servers to have the same", async || {
        ada.listen_for(Duration::from_millis(50)).await;
        ben.listen_for(Duration::from_millis(50)).await;
        marks(&ada).len() == JOBS && marks(&ada) == marks(&ben)
    })
    .await;
    cable.cut();
    until("the line to be cut", async || !connected(&in_van).await).await;
    let before = cable.carried();
    cable.mend();
    until("the servers to meet", async || connected(&in_van).await).await;
    // What is new in one of them comes, from either side.
    ada.edit(jobs[3], &[add_room("Den")]).await;
    ben.open(jobs[3]).await;
    until_rooms(&mut ben, jobs[3], &["Den", "Hall"]).await;
    ben.open(jobs[5]).await;
    ben.edit(jobs[5], &[add_room("Attic")]).await;
    until_rooms(&mut ada, jobs[5], &["Attic", "Hall"]).await;
    cable.cut();
    until("the line to be cut", async || !connected(&in_van).await).await;
    // The list, two jobs, and what servers tell each other anyway; a job that is opened costs 250 bytes more.
    let carried = cable.carried() - before;
    assert!(carried < 15_000, "{carried} bytes");
}

#[tokio::test]
async fn what_rots_at_one_server_comes_back_from_the_other() {
    let (_shop, mut van, in_shop, in_van) = shop_and_van().await;
    let (mut ada, mut ben) = (in_shop.connect().await, in_van.connect().await);
    let job = new_job();
    ada.open_and_catch_up(job).await;
    let hall = ada.edit(job, &[add_room("Hall")]).await;
    ada.until("the receipt", |it| it.copies[&job].acked.contains(&hall)).await;
    let bytes = ada.copies[&job].doc.change(&ChangeHash(hall)).unwrap().bytes;
    let mark = |of: &Peer| of.jobs.iter().find(|it| it.job == job).and_then(|it| it.mark);
    ben.until("the job in the van", |it| mark(it).is_some()).await;
    van.stop();
    damage(&van, &bytes);
    van.restart();
    // Nobody opens the job there.
    let mut ben = in_van.connect().await;
    ben.until("that it rotted", |it| mark(it).is_none()).await;
    ben.until("that it is whole", |it| mark(it).is_some()).await;
    van.kill();
    van.restart();
    let mut ben = in_van.connect().await;
    ben.open_and_catch_up(job).await;
    until_rooms(&mut ben, job, &["Hall"]).await;
}

#[tokio::test]
async fn who_is_let_in_at_one_is_let_in_at_the_other_and_who_is_shut_out_too() {
    let (_shop, van, in_shop, in_van) = shop_and_van().await;
    let cem = in_shop.pair_another("Cem").await;
    let at_van = Pass { address: van.address(), ..cem.clone() };
    until("the van to know Cem", async || at_van.get("/me").await.status() == StatusCode::OK).await;
    let mut phone = at_van.connect().await;
    let job = new_job();
    phone.open(job).await;
    let hash = phone.edit(job, &[add_room("Hall")]).await;
    phone.until("the receipt", |it| it.copies[&job].acked.contains(&hash)).await;

    let id = phone.device();
    let post = http().post(format!("{}/people/{id}", in_shop.address)).header(ORIGIN, &in_shop.address);
    let post = post.header(COOKIE, &in_shop.cookie).header(CONTENT_TYPE, "application/json");
    assert_eq!(post.body("\"revoke\"").send().await.unwrap().status(), StatusCode::OK);
    assert!(phone.until_gone().await.contains("not let in any more"));
    until("the van to shut Cem out", async || at_van.get("/me").await.status() == StatusCode::UNAUTHORIZED).await;
    // And the shop's owner is one in the van.
    let owner = Pass { address: van.address(), ..in_shop.clone() };
    let told: Value = owner.get("/people").await.json().await.unwrap();
    let names: BTreeSet<_> =
        told["devices"].as_array().unwrap().iter().map(|it| it["person"].as_str().unwrap()).collect();
    assert_eq!(names, BTreeSet::from(["Ada", "Ben", "Cem"]));
    assert_eq!(told["servers"][0]["connected"], true, "{told}");
    assert!(told["servers"][0]["met"].as_i64().unwrap() > 1_700_000_000);
    let of_shop: Value = in_shop.get("/people").await.json().await.unwrap();
    let server = of_shop["devices"].as_array().unwrap().iter().find(|it| it["role"] == "server").cloned().unwrap();
    assert_eq!((&server["person"], &server["connected"]), (&json!("van 2"), &json!(true)));
    assert!(!in_van.cookie.is_empty());
}

#[tokio::test]
async fn only_an_owner_pairs_servers_and_each_link_is_for_its_kind_and_once() {
    let (shop, van) = (Server::start(), Server::start());
    let in_shop = Pass::by_link(&shop.pairing_link(), "Ada").await;
    let in_van = Pass::by_link(&van.pairing_link(), "Ben").await;
    let crew = in_shop.pair_another("Cem").await;
    let post = http().post(format!("{}/pairing?as=server", crew.address)).header(ORIGIN, &crew.address);
    let answer = post.header(COOKIE, &crew.cookie).send().await.unwrap();
    assert_eq!(answer.status(), StatusCode::FORBIDDEN);
    assert_eq!(join(&crew, "http://127.0.0.1:1/join/00").await, StatusCode::FORBIDDEN);

    let for_phone = in_shop.invite().await;
    assert_eq!(join(&in_van, &for_phone).await, StatusCode::UNPROCESSABLE_ENTITY, "a link for a phone");
    assert!(
        Pass::post_form(&for_phone, "Dee", None).await.status() == StatusCode::SEE_OTHER,
        "which still works for one"
    );
    let for_server = server_link(&in_shop).await;
    assert_eq!(Pass::post_form(&for_server, "Eve", None).await.status(), StatusCode::GONE, "a link for a server");
    assert_eq!(join(&in_van, &for_server).await, StatusCode::OK);
    assert_eq!(join(&in_van, &for_server).await, StatusCode::UNPROCESSABLE_ENTITY, "once");
    assert_eq!(join(&in_shop, &server_link(&in_shop).await).await, StatusCode::UNPROCESSABLE_ENTITY, "not with itself");
    for nonsense in ["", "hello", "ftp://x/join/00", "http://127.0.0.1:1/join/00", "https://127.0.0.1:1/join/00"] {
        assert_eq!(join(&in_van, nonsense).await, StatusCode::UNPROCESSABLE_ENTITY, "{nonsense}");
    }
}

#[tokio::test]
async fn a_phone_that_trusts_the_shop_trusts_the_van() {
    let shop = Server::start_secure(&[]);
    let root =
        http().get(format!("{}/trust/shop.crt", shop.plain_address())).send().await.unwrap().bytes().await.unwrap();
    let client = trusting(&[&root]);
    let link = shop.pairing_link().replace("http://", "https://");
    let form = client.post(&link).header(ORIGIN, shop.address()).body("name=Ada&device=phone");
    let answer = form.header(CONTENT_TYPE, "application/x-www-form-urlencoded").send().await.unwrap();
    let cookie = answer.headers()["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_owned();
    let post = client.post(format!("{}/pairing?as=server", shop.address())).header(ORIGIN, shop.address());
    let answer: Value = post.header(COOKIE, &cookie).send().await.unwrap().json().await.unwrap();
    let link = answer["urls"][0].as_str().unwrap();
    assert!(link.starts_with("https://") && link.split_once('#').unwrap().1.len() == 64, "{link}");

    // A link whose code is another's is not followed: somebody stands between.
    let (address, _) = link.split_once('#').unwrap();
    let fooled = Server::start_secure(&["--join", &format!("{address}#{}", "0".repeat(64))]);
    let mut van = Server::start_secure(&["--join", link]);
    let me = format!("{}/me", van.address());
    let known =
        async || client.get(&me).header(COOKIE, &cookie).send().await.is_ok_and(|it| it.status() == StatusCode::OK);
    until("the van to be trusted, and to know Ada", known).await;
    assert!(client.get(format!("{}/me", fooled.address())).send().await.is_err());
    // Still so after a start without the shop.
    van.kill();
    drop(shop);
    van.restart();
    until("the van alone", known).await;
    let stored = std::fs::read_dir(van.folder().join("peers")).unwrap().next().unwrap().unwrap();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(stored.metadata().unwrap().permissions().mode() & 0o777, 0o600);
    }
}

#[tokio::test]
async fn an_owner_ends_what_two_servers_began() {
    let (_shop, _van, in_shop, in_van) = shop_and_van().await;
    until("the servers to be connected", async || connected(&in_van).await).await;
    let told: Value = in_van.get("/people").await.json().await.unwrap();
    let replica = told["servers"][0]["replica"].as_str().unwrap().to_owned();
    let part = async |who: &Pass| {
        let delete = http().delete(format!("{}/servers/{replica}", who.address)).header(ORIGIN, &who.address);
        delete.header(COOKIE, &who.cookie).send().await.unwrap().status()
    };
    let crew = in_van.pair_another("Cem").await;
    decide(&in_van, device(&crew).await, json!({ "give-role": "crew" })).await;
    assert_eq!(part(&crew).await, StatusCode::FORBIDDEN);
    assert_eq!(part(&in_shop).await, StatusCode::NOT_FOUND, "the shop calls nobody");
    assert_eq!(part(&in_van).await, StatusCode::OK);
    assert_eq!(part(&in_van).await, StatusCode::NOT_FOUND);
    let told: Value = in_van.get("/people").await.json().await.unwrap();
    assert_eq!(told["servers"], json!([]));

    // What is measured at the van from now on stays there.
    let job = new_job();
    let mut phone = in_van.connect().await;
    phone.open_and_catch_up(job).await;
    let den = phone.edit(job, &[add_room("Den")]).await;
    phone.until("the receipt", |it| it.copies[&job].acked.contains(&den)).await;
    let mut elsewhere = in_shop.connect().await;
    elsewhere.listen_for(Duration::from_millis(800)).await;
    assert!(elsewhere.jobs.iter().all(|it| it.job != job));
}
