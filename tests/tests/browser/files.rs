#![expect(clippy::expect_used, reason = "what goes wrong here fails its test")]

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Instant;

use napline_tests::phone::Phone;
use napline_tests::server::{PATIENCE, Server};
use serde_json::{Value, json};
use shared_model::ids::DeviceId;
use shared_model::job::JobDoc;
use shared_model::job_file::{self, Photos};
use thirtyfour::By;
use uuid::Uuid;

use crate::crew::{add_room, open_job, open_room, order, rectangle, shared, start_job};
use crate::photos::{from_camera, kept, see_pictures, take};

/// Taps a way to save the first job, and waits for the file.
async fn save(phone: &Phone, button: &str, folder: &Path, name: &str) -> PathBuf {
    let allowed = json!({ "behavior": "allow", "downloadPath": folder });
    phone.send("Browser.setDownloadBehavior", allowed).await;
    phone.tap("[data-menu]").await;
    phone.tap(button).await;
    let (file, start) = (folder.join(name), Instant::now());
    while !file.exists() {
        assert!(start.elapsed() < PATIENCE, "no {name}");
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    file
}

/// Chooses a file, as the browser's own dialog does.
async fn choose(phone: &Phone, file: &Path) {
    let field = phone.driver.find(By::Css("#open-file")).await.expect("the field for a file");
    field.send_keys(file.to_str().expect("a plain path")).await.expect("the file to be chosen");
}

#[tokio::test]
async fn a_job_goes_from_phone_to_phone_as_a_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let (one, mut other) = (Server::start(), Server::start());
    let ada = Phone::paired("Ada", &one).await;
    start_job(&ada, "Quarry Lane 4").await;
    add_room(&ada, "Bedroom").await;
    rectangle(&ada, 12, 10).await;
    shared(&ada).await;
    ada.open(&one.address()).await;
    let file = save(&ada, "#save-job", folder.path(), "quarry-lane-4.napline").await;
    let json = save(&ada, "#save-json", folder.path(), "quarry-lane-4.json").await;
    let read = job_file::read(&fs::read(&file).expect("the file")).expect("a sound file");
    let job: Value = serde_json::from_slice(&fs::read(json).expect("the file")).expect("an open job");
    assert_eq!((&job["id"], &job["name"]), (&json!(read.job), &json!("Quarry Lane 4")));
    assert_eq!(job["rooms"][0]["name"], "Bedroom");

    // Another phone of another shop, without a network.
    let ben = Phone::paired("Ben", &other).await;
    ben.see("#new-job").await;
    other.kill();
    let damaged = folder.path().join("damaged.napline");
    let mut bytes = fs::read(&file).expect("the file");
    bytes[200] ^= 1;
    fs::write(&damaged, bytes).expect("a damaged file");
    choose(&ben, &damaged).await;
    ben.see((".toast", "damaged.napline is not opened: it is damaged")).await;
    assert_eq!(ben.ask("return document.querySelectorAll('[data-job]').length").await, 0);
    choose(&ben, &file).await;
    ben.see(("[data-room]", "Bedroom")).await;
    ben.see((".item", "120.00 sq ft")).await;
    ben.photograph("opened-from-a-file").await;

    // It is stored on the phone, and comes to the server when there is one.
    other.restart();
    ben.reload().await;
    assert_eq!(order(&ben).await, "12' 6\"");
    shared(&ben).await;
    open_room(&ben, "Bedroom").await;
    ben.see(("#standing", "Closed")).await;
}

/// A photo goes with the job's file, to a phone and from there to its server; one whose picture is not there is missed by name.
#[tokio::test]
async fn photos_go_from_phone_to_phone_in_a_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let (one, mut other) = (Server::start(), Server::start());
    let ada = Phone::paired("Ada", &one).await;
    start_job(&ada, "Quarry Lane 5").await;
    take(&ada, &from_camera(&folder, "house.jpg", 1_200, 900), "The house").await;
    shared(&ada).await;
    ada.open(&one.address()).await;
    let file = save(&ada, "#save-job", folder.path(), "quarry-lane-5.napline").await;
    assert_eq!(job_file::read(&fs::read(&file).expect("the file")).expect("a sound file").photos.len(), 2);

    let ben = Phone::paired("Ben", &other).await;
    ben.see("#new-job").await;
    other.kill();
    choose(&ben, &file).await;
    see_pictures(&ben, ".photo-small img", 1).await;
    ben.tap(".photo-small").await;
    see_pictures(&ben, "#photo-large", 1).await;
    other.restart();
    ben.reload().await;
    shared(&ben).await;
    assert_eq!(kept(&other).len(), 2);

    // The same job without its pictures, on a third phone, which never saw them.
    let without = without_pictures(&file, folder.path());
    let third = Server::start();
    let cem = Phone::paired("Cem", &third).await;
    cem.see("#new-job").await;
    choose(&cem, &without).await;
    cem.see(("#notice", "Opened without 1 photo")).await;
    cem.tap("#notice .button").await;
    cem.tap("#sync-chip").await;
    cem.see(("#photos-standing", "1 photo not on this phone yet")).await;
    cem.tap("#sharing-sheet [data-close]").await;
    cem.open(&third.address()).await;
    let again = tempfile::tempdir().expect("a folder");
    save(&cem, "#save-job", again.path(), "quarry-lane-5.napline").await;
    cem.see(("#notice", "Saved without 1 photo")).await;
    open_job(&cem, "Quarry Lane 5").await;
}

fn without_pictures(file: &Path, folder: &Path) -> PathBuf {
    let read = job_file::read(&fs::read(file).expect("the file")).expect("a sound file");
    let mut doc = JobDoc::new(read.job, [7; 16], DeviceId(Uuid::from_u128(7)));
    doc.apply(read.changes).expect("changes that fit");
    let path = folder.join("without.napline");
    fs::write(&path, job_file::write(&doc, &Photos::new(), read.seals).expect("a file")).expect("to be written");
    path
}
