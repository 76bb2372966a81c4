#![expect(clippy::unwrap_used, reason = "what goes wrong here fails its test")]

use std::fs;
use std::path::{Path, PathBuf};

use napline_tests::cable::Cable;
use napline_tests::camera::{LATITUDE, SECRETS, talkative};
use napline_tests::phone::Phone;
use napline_tests::server::Server;
use shared_model::photo::{self, Size};
use tempfile::TempDir;
use thirtyfour::By;

use crate::crew::{add_room, go, open_job, open_room, rectangle, shared, start_job};

/// A file as the camera leaves it: 4 032 × 3 024 pixels, with the place in it.
pub fn from_camera(folder: &TempDir, name: &str, width: u16, height: u16) -> PathBuf {
    let path = folder.path().join(name);
    fs::write(&path, talkative(width, height)).unwrap();
    path
}

/// Takes a photo where the phone is, with the first key for it that is shown.
pub async fn take(phone: &Phone, file: &Path, caption: &str) {
    let input = phone.driver.find(By::Css("input[name=photo]")).await.unwrap();
    input.send_keys(file.to_str().unwrap()).await.unwrap();
    phone.see(".photo-preview").await;
    if !caption.is_empty() {
        phone.write("#photo-sheet [name=caption]", caption).await;
    }
    phone.photograph("a-photo-before-it-is-kept").await;
    phone.tap("#keep-photo").await;
}

/// Waits until pictures are on the screen, and not only their places.
pub async fn see_pictures(phone: &Phone, css: &str, count: usize) {
    let script = format!(
        "const all = [...document.querySelectorAll('{css}')];
         return all.length === {count} && all.every((it) => it.complete && it.naturalWidth > 0)"
    );
    phone.wait_for(&format!("{count} pictures at {css}"), &script).await;
}

/// The files of the pictures that the server keeps whole.
fn pictures(server: &Server) -> Vec<PathBuf> {
    let folders = fs::read_dir(server.folder().join("photos")).unwrap().flatten();
    let files = folders.flat_map(|it| fs::read_dir(it.path()).unwrap().flatten()).map(|it| it.path());
    files.filter(|it| it.extension().is_some_and(|it| it == "jpg")).collect()
}

/// Every picture that the server keeps whole.
pub fn kept(server: &Server) -> Vec<Vec<u8>> {
    pictures(server).iter().map(|it| fs::read(it).unwrap()).collect()
}

/// One phone takes a photo of a wall, the other sees it; what the camera wrote beside the picture is on no disk of the server.
#[tokio::test]
async fn a_photo_of_a_wall_is_seen_on_the_other_phone_and_says_no_place() {
    let (server, folder) = (Server::start(), tempfile::tempdir().unwrap());
    let ada = Phone::paired("Ada", &server).await;
    let ben = Phone::invited("Ben", &ada).await;
    start_job(&ada, "Quarry Lane 8").await;
    add_room(&ada, "Bedroom").await;
    rectangle(&ada, 12, 10).await;
    ada.tap("[data-wall='2']").await;
    ada.see("#openings").await;
    take(&ada, &from_camera(&folder, "wall.jpg", 4_032, 3_024), "Damp under the window").await;
    see_pictures(&ada, ".photo-small img", 1).await;
    ada.photograph("a-wall-with-a-photo").await;
    shared(&ada).await;

    open_job(&ben, "Quarry Lane 8").await;
    open_room_below_the_plan(&ben, "Bedroom").await;
    ben.tap("[data-wall='2']").await;
    see_pictures(&ben, ".photo-small img", 1).await;
    ben.tap(".photo-small").await;
    see_pictures(&ben, "#photo-large", 1).await;
    ben.see((".photo-told", "Ada")).await;
    ben.see((".photo-caption", "Damp under the window")).await;
    let shown =
        ben.ask("const it = document.querySelector('#photo-large'); return [it.naturalWidth, it.naturalHeight]");
    assert_eq!(shown.await, serde_json::json!([1_600, 1_200]));
    ben.photograph("a-photo-on-the-other-phone").await;

    let kept = kept(&server);
    let mut sizes: Vec<Size> = kept.iter().map(|it| photo::vet(it).unwrap()).collect();
    sizes.sort_by_key(|it| it.width);
    assert_eq!(sizes, [Size { width: 256, height: 192 }, Size { width: 1_600, height: 1_200 }]);
    for secret in SECRETS.iter().map(|it| it.as_bytes()).chain([&LATITUDE[..], b"Exif", b"http://"]) {
        assert!(talkative(32, 24).windows(secret.len()).any(|it| it == secret));
        assert!(kept.iter().all(|file| !file.windows(secret.len()).any(|it| it == secret)), "{secret:?}");
    }

    // Taken off on one phone, gone on the other; an undo brings it back on both.
    ben.tap("#remove-photo").await;
    ada.wait_for("the photo to go", "return document.querySelector('.photo-small') === null").await;
    ben.tap("#undo").await;
    see_pictures(&ada, ".photo-small img", 1).await;
    see_pictures(&ben, ".photo-small img", 1).await;
}

/// Without a network a photo is taken, kept over a reload and counted as waiting; it leaves when the network is back.
#[tokio::test]
async fn a_photo_taken_without_a_network_is_brought_later() {
    let (server, folder) = (Server::start(), tempfile::tempdir().unwrap());
    let cable = Cable::to(&server);
    let ada = Phone::start("Ada").await;
    ada.join(&cable.link(&server)).await;
    start_job(&ada, "Quarry Lane 9").await;
    add_room(&ada, "Hall").await;
    rectangle(&ada, 12, 4).await;
    shared(&ada).await;
    ada.wait_for("the files to be kept", "return navigator.serviceWorker.controller !== null").await;
    cable.cut();
    take(&ada, &from_camera(&folder, "hall.jpg", 1_200, 1_600), "").await;
    ada.tap("#marks-key").await;
    ada.tap("#touch-floor").await;
    ada.see(("#marks .reading", "Squeak")).await;
    take(&ada, &from_camera(&folder, "squeak.jpg", 640, 480), "Third board").await;
    // What is shown is stored.
    see_pictures(&ada, "#marks .photo-small img", 1).await;
    ada.see(("#sync-chip", "waiting: 3 edits")).await;
    ada.reload().await;
    ada.tap("#marks-key").await;
    see_pictures(&ada, "#marks .photo-small img", 1).await;
    ada.tap("#sync-chip").await;
    ada.see(("#photos-standing", "2 photos only here")).await;
    ada.photograph("photos-that-wait").await;
    ada.tap("#sharing-sheet [data-close]").await;
    assert_eq!(kept(&server).len(), 0);

    cable.mend();
    shared(&ada).await;
    assert_eq!(kept(&server).len(), 4);
    ada.tap("#sync-chip").await;
    ada.see(("#photos-standing", "on the server")).await;
    ada.tap("#sharing-sheet [data-close]").await;
    let ben = Phone::invited("Ben", on_list(&ada).await).await;
    open_job(&ben, "Quarry Lane 9").await;
    open_room_below_the_plan(&ben, "Hall").await;
    see_pictures(&ben, ".photo-small img", 1).await;
    ben.tap("#room-menu").await;
    ben.photograph("photos-in-the-room-menu").await;
}

/// Opens a room once the plan stands above the list, and nothing moves any more.
async fn open_room_below_the_plan(phone: &Phone, name: &str) {
    phone.see(".split-main svg").await;
    open_room(phone, name).await;
}

async fn on_list(phone: &Phone) -> &Phone {
    go(phone, "rooms").await;
    phone.tap("#back").await;
    phone
}

/// Stairs and the house have photos too; a file that is no picture is refused in words.
#[tokio::test]
async fn stairs_have_photos_and_other_files_are_refused() {
    let (server, folder) = (Server::start(), tempfile::tempdir().unwrap());
    let ada = Phone::paired("Ada", &server).await;
    start_job(&ada, "Quarry Lane 10").await;
    take(&ada, &from_camera(&folder, "house.jpg", 800, 600), "The house").await;
    see_pictures(&ada, ".photo-small img", 1).await;
    ada.photograph("a-house-with-a-photo").await;
    ada.tap("#add-flight").await;
    ada.see("#flight-form").await;
    let text = folder.path().join("notes.jpg");
    fs::write(&text, "no picture at all").unwrap();
    let input = ada.driver.find(By::Css("input[name=photo]")).await.unwrap();
    input.send_keys(text.to_str().unwrap()).await.unwrap();
    ada.see(("#notice", "cannot read that file as a picture")).await;
    ada.tap("#notice .button").await;
    take(&ada, &from_camera(&folder, "stairs.jpg", 300, 900), "").await;
    see_pictures(&ada, ".photo-small img", 1).await;
    ada.photograph("stairs-with-a-photo").await;
    shared(&ada).await;
    assert_eq!(kept(&server).len(), 4);
}

/// Where there is no room for a photo what is typed is stored all the same, and the photo when there is room again.
#[tokio::test]
async fn a_photo_that_does_not_fit_keeps_no_reading_from_being_stored() {
    let (server, folder) = (Server::start(), tempfile::tempdir().unwrap());
    let ada = Phone::paired("Ada", &server).await;
    start_job(&ada, "Quarry Lane 11").await;
    add_room(&ada, "Hall").await;
    rectangle(&ada, 12, 4).await;
    shared(&ada).await;
    // As a browser that has no more room: it gives up the transaction.
    let full = "const put = IDBObjectStore.prototype.put;
        window.full = true;
        IDBObjectStore.prototype.put = function (...it) {
          const request = put.apply(this, it);
          if (window.full && this.name === 'picture') this.transaction.abort();
          return request;
        }";
    ada.ask(full).await;
    take(&ada, &from_camera(&folder, "hall.jpg", 640, 480), "").await;
    ada.see(("#trouble", "A photo is not stored")).await;
    let before = ada.ask(&stored("change", "it.length")).await.as_u64().unwrap();
    add_room(&ada, "Bedroom").await;
    rectangle(&ada, 10, 10).await;
    let more = format!("it.length >= {}", before + 6);
    ada.wait_for("the readings to be on the disk", &stored("change", &more)).await;
    ada.wait_for("no picture to be", &stored("picture", "it.length === 0")).await;

    ada.ask("window.full = false").await;
    ada.wait_for("the trouble to end", "return document.querySelector('#trouble') === null").await;
    ada.wait_for("the pictures to be on the disk", &stored("picture", "it.length === 2")).await;
    shared(&ada).await;
    assert_eq!(kept(&server).len(), 2);
}

/// Whether what is stored under a name in the browser's storage is as it should be.
fn stored(name: &str, holds: &str) -> String {
    format!(
        "return new Promise((done) => {{
           const open = indexedDB.open('napline');
           open.onsuccess = () => {{
             const all = open.result.transaction('{name}').objectStore('{name}').getAllKeys();
             all.onsuccess = () => {{ const it = all.result; open.result.close(); done({holds}); }};
           }};
         }})"
    )
}

/// The server loses a picture; the phone that still has it brings it again.
#[tokio::test]
async fn a_picture_that_the_server_lost_comes_again_from_a_phone_that_has_it() {
    let (server, folder) = (Server::start(), tempfile::tempdir().unwrap());
    let cable = Cable::to(&server);
    let ada = Phone::start("Ada").await;
    ada.join(&cable.link(&server)).await;
    start_job(&ada, "Quarry Lane 12").await;
    take(&ada, &from_camera(&folder, "house.jpg", 800, 600), "The house").await;
    shared(&ada).await;
    let link = on_list(&ada).await.invitation().await;
    let ben = Phone::start("Ben").await;
    ben.join(&link.replace(&cable.address(), &server.address())).await;
    cable.cut();
    for file in pictures(&server) {
        let mut bytes = fs::read(&file).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 1;
        fs::write(&file, bytes).unwrap();
    }
    open_job(&ben, "Quarry Lane 12").await;
    ben.see("#sync-chip").await;
    ben.tap("#sync-chip").await;
    ben.see(("#photos-standing", "1 photo not on this phone yet")).await;
    ben.tap("#sharing-sheet [data-close]").await;
    // Set aside when Ben's phone asked for them.
    ben.wait_until("the damage to be noticed", async || pictures(&server).is_empty().then_some(())).await;
    cable.mend();
    see_pictures(&ben, ".photo-small img", 1).await;
    ben.wait_until("both to be there", async || (kept(&server).len() == 2).then_some(())).await;
    ben.tap("#sync-chip").await;
    ben.see(("#photos-standing", "are on the server")).await;
}

/// A newer version of the page in another tab takes over the storage: this one says so, and what was typed is stored.
#[tokio::test]
async fn a_page_that_a_newer_one_replaces_says_so() {
    let server = Server::start();
    let ada = Phone::paired("Ada", &server).await;
    start_job(&ada, "Quarry Lane 13").await;
    let newer = "return new Promise((done) => {
        const open = indexedDB.open('napline', 1000);
        open.onsuccess = () => { open.result.close(); done(true); };
    })";
    assert_eq!(ada.ask(newer).await, true);
    ada.see(("#trouble", "a newer version of this page is open in another tab: reload this one")).await;
}
