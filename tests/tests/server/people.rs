use napline_tests::peer::{Pass, add_room, http, new_job};
use napline_tests::server::Server;
use reqwest::StatusCode;
use reqwest::header::{CONTENT_TYPE, COOKIE, ORIGIN};
use serde_json::{Value, json};
use shared_model::ids::DeviceId;
use shared_model::wire::{Frame, Role};

async fn invite(by: &Pass, role: &str) -> Result<String, StatusCode> {
    let post = http().post(format!("{}/pairing?as={role}", by.address)).header(ORIGIN, &by.address);
    let answer = post.header(COOKIE, &by.cookie).send().await.unwrap();
    match answer.status() {
        StatusCode::OK => Ok(answer.json::<Value>().await.unwrap()["urls"][0].as_str().unwrap().to_owned()),
        other => Err(other),
    }
}

pub async fn pair(by: &Pass, role: &str, name: &str) -> Pass {
    Pass::by_link(&invite(by, role).await.unwrap(), name).await
}

async fn decide(by: &Pass, about: DeviceId, decision: Value) -> StatusCode {
    let post = http().post(format!("{}/people/{about}", by.address)).header(ORIGIN, &by.address);
    let post = post.header(COOKIE, &by.cookie).header(CONTENT_TYPE, "application/json");
    post.body(decision.to_string()).send().await.unwrap().status()
}

async fn device(of: &Pass) -> DeviceId {
    let me: Value = of.get("/me").await.json().await.unwrap();
    me["device"].as_str().unwrap().parse().unwrap()
}

async fn people(of: &Pass) -> Value {
    of.get("/people").await.json().await.unwrap()
}

#[tokio::test]
async fn who_opens_the_shops_own_link_is_an_owner_and_nobody_invites_above_himself() {
    let server = Server::start();
    let owner = Pass::by_link(&server.pairing_link(), "Ada").await;
    let crew = pair(&owner, "crew", "Ben").await;
    let viewer = pair(&owner, "viewer", "Cem").await;
    for (who, name) in [(&owner, "owner"), (&crew, "crew"), (&viewer, "viewer")] {
        let me: Value = who.get("/me").await.json().await.unwrap();
        assert_eq!(me["role"], name);
    }
    assert_eq!(invite(&crew, "owner").await, Err(StatusCode::FORBIDDEN));
    assert!(invite(&crew, "crew").await.is_ok());
    assert_eq!(invite(&viewer, "viewer").await, Err(StatusCode::FORBIDDEN));
    assert_eq!(invite(&owner, "boss").await, Err(StatusCode::BAD_REQUEST));
    for (who, status) in [(&crew, StatusCode::FORBIDDEN), (&viewer, StatusCode::FORBIDDEN)] {
        assert_eq!(decide(who, device(&owner).await, json!("revoke")).await, status);
        assert_eq!(decide(who, device(who).await, json!({ "give-role": "owner" })).await, status);
    }
}

#[tokio::test]
async fn a_viewer_sees_everything_and_writes_nothing_even_with_a_forged_client() {
    let server = Server::start();
    let owner = Pass::by_link(&server.pairing_link(), "Ada").await;
    let pass = pair(&owner, "viewer", "Cem").await;
    let (mut ada, mut cem) = (owner.connect().await, pass.connect().await);
    let job = new_job();
    ada.open(job).await;
    let hash = ada.edit(job, &[add_room("Hall")]).await;
    ada.until("the receipt", |it| it.copies[&job].acked.contains(&hash)).await;
    cem.open_and_catch_up(job).await;
    assert_eq!(cem.copies[&job].doc.job().rooms.len(), 1);

    // Live.
    let forged = cem.edit(job, &[add_room("Den")]).await;
    cem.until("the refusal", |it| it.copies[&job].nacked.iter().any(|(of, _)| *of == Some(forged))).await;
    // By catching up, and as a job of his own.
    cem.open(job).await;
    cem.listen_for(std::time::Duration::from_millis(300)).await;
    let own = new_job();
    cem.edit_offline(own, &[add_room("Cellar")]);
    cem.open(own).await;
    cem.listen_for(std::time::Duration::from_millis(300)).await;
    let mut again = owner.connect().await;
    again.open_and_catch_up(job).await;
    again.open_and_catch_up(own).await;
    let rooms = |id| again.copies[&id].doc.job().rooms.into_iter().map(|it| it.name).collect::<Vec<_>>();
    assert_eq!(rooms(job), ["Hall"]);
    assert_eq!(rooms(own), [""; 0]);
}

#[tokio::test]
async fn a_role_holds_at_once_for_open_sockets() {
    let server = Server::start();
    let owner = Pass::by_link(&server.pairing_link(), "Ada").await;
    let pass = pair(&owner, "crew", "Ben").await;
    let mut ben = pass.connect().await;
    let job = new_job();
    ben.open(job).await;
    assert_eq!(decide(&owner, ben.device(), json!({ "give-role": "viewer" })).await, StatusCode::OK);
    assert!(ben.until_gone().await.contains("what this phone may do has changed"));
    let mut ben = pass.connect().await;
    ben.until("the new role", |it| it.role == Some(Role::Viewer)).await;
    ben.open(job).await;
    let hash = ben.edit(job, &[add_room("Den")]).await;
    ben.until("the refusal", |it| it.copies[&job].nacked.iter().any(|(of, _)| *of == Some(hash))).await;
}

#[tokio::test]
async fn a_revoked_device_is_out_at_once_and_for_good() {
    let mut server = Server::start();
    let owner = Pass::by_link(&server.pairing_link(), "Ada").await;
    let pass = pair(&owner, "crew", "Ben").await;
    let (mut ben, mut ada) = (pass.connect().await, owner.connect().await);
    let job = new_job();
    ben.open(job).await;
    let hash = ben.edit(job, &[add_room("Hall")]).await;
    ben.until("the receipt", |it| it.copies[&job].acked.contains(&hash)).await;
    let link = invite(&pass, "crew").await.unwrap();
    assert_eq!(decide(&owner, ben.device(), json!("revoke")).await, StatusCode::OK);
    assert!(ben.until_gone().await.contains("not let in any more"));
    assert_eq!(pass.get("/me").await.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(pass.socket(&pass.address, Some(&pass.cookie)).await.err(), Some(StatusCode::UNAUTHORIZED));
    assert_eq!(http().get(&link).send().await.unwrap().status(), StatusCode::GONE, "nor whom it has invited");
    ada.open_and_catch_up(job).await;
    assert_eq!(ada.copies[&job].doc.job().rooms.len(), 1, "what it measured stays");

    server.kill();
    server.restart();
    assert_eq!(pass.get("/me").await.status(), StatusCode::UNAUTHORIZED);
    // Coming back with an old cookie in hand makes another device of it.
    let again = Pass::post_form(&invite(&owner, "crew").await.unwrap(), "Ben", Some(&pass.cookie)).await;
    assert_eq!(again.status(), StatusCode::SEE_OTHER);
    let all = people(&owner).await;
    let bens = all["devices"].as_array().unwrap().iter().filter(|it| it["person"] == "Ben").count();
    assert_eq!(bens, 2, "{all}");
}

#[tokio::test]
async fn the_shop_keeps_an_owner() {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let own = device(&ada).await;
    assert_eq!(decide(&ada, own, json!("revoke")).await, StatusCode::CONFLICT);
    assert_eq!(decide(&ada, own, json!({ "give-role": "crew" })).await, StatusCode::CONFLICT);
    // Her own link for somebody else, tried on her own phone, takes nothing from her.
    let link = invite(&ada, "crew").await.unwrap();
    let answer = Pass::post_form(&link, "Ada", Some(&ada.cookie)).await;
    let cookie = answer.headers()["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_owned();
    let ada = Pass { cookie, ..ada };
    let me: Value = ada.get("/me").await.json().await.unwrap();
    assert_eq!((&me["role"], &me["device"]), (&json!("owner"), &json!(own)));
    let ben = pair(&ada, "owner", "Ben").await;
    let bens = device(&ben).await;
    // Both try to be the only one at the same moment.
    let both = tokio::join!(decide(&ada, bens, json!("revoke")), decide(&ben, own, json!("revoke")));
    let done = [both.0, both.1].iter().filter(|it| **it == StatusCode::OK).count();
    assert_eq!(done, 1, "{both:?}");
}

#[tokio::test]
async fn owners_read_who_let_whom_in_and_when() {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let ben = pair(&ada, "crew", "Ben").await;
    let (a, b) = (device(&ada).await.to_string(), device(&ben).await.to_string());
    assert_eq!(decide(&ada, b.parse().unwrap(), json!({ "give-role": "viewer" })).await, StatusCode::OK);
    let told = people(&ada).await;
    let notes: Vec<_> =
        told["notes"].as_array().unwrap().iter().map(|it| (&it["by"], &it["device"], &it["what"])).collect();
    let [role, joined, first] = notes.as_slice() else { panic!("{told}") };
    assert_eq!(*role, (&json!(a), &json!(b), &json!({ "given-role": "viewer" })));
    assert_eq!(*joined, (&json!(a), &json!(b), &json!({ "joined": "crew" })));
    assert_eq!(*first, (&Value::Null, &json!(a), &json!({ "joined": "owner" })));
    assert!(told["notes"][0]["at"].as_i64().unwrap() > 1_700_000_000);
    assert_eq!(people(&ben).await["notes"], json!([]), "others see who is there, not the list");
    let text = told.to_string();
    assert!(!text.contains("token"), "{text}");
}

#[tokio::test]
async fn decisions_that_are_none_change_nothing() {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let own = device(&ada).await;
    for wrong in [json!({}), json!("delete"), json!({ "give-role": "boss" }), json!(null)] {
        let refused = [StatusCode::BAD_REQUEST, StatusCode::UNPROCESSABLE_ENTITY];
        assert!(refused.contains(&decide(&ada, own, wrong.clone()).await), "{wrong}");
    }
    let nobody = "00000000-0000-0000-0000-000000000009".parse().unwrap();
    assert_eq!(decide(&ada, nobody, json!("revoke")).await, StatusCode::NOT_FOUND);
    let form = http().post(format!("{}/people/{own}", ada.address)).header(ORIGIN, &ada.address);
    let form = form.header(COOKIE, &ada.cookie).header(CONTENT_TYPE, "text/plain").body("\"revoke\"");
    assert_eq!(
        form.send().await.unwrap().status(),
        StatusCode::UNSUPPORTED_MEDIA_TYPE,
        "what a form of another site sends"
    );
    let mut phone = ada.connect().await;
    phone.send(&Frame::Role(Role::Owner)).await;
    assert!(phone.until_gone().await.contains("does not send"), "a phone cannot say what it may do");
}
