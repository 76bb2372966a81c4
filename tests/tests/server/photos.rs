use std::fs;
use std::path::PathBuf;
use std::time::Duration;

use napline_tests::camera::{jpeg, talkative};
use napline_tests::peer::{Pass, Peer, http, new_job};
use napline_tests::server::Server;
use reqwest::header::{CONTENT_RANGE, CONTENT_TYPE, COOKIE, ORIGIN, RANGE};
use reqwest::{Method, Response, StatusCode};
use shared_model::ids::{JobId, PhotoId};
use shared_model::job::{Edit, NewPhoto, Picture, PictureHash, Subject};
use shared_model::photo::{self, PIECE};
use tokio::net::TcpStream;
use uuid::Uuid;

use super::peers::{join, server_link, until};

/// A photo's two files, and what the document says of them.
pub struct Taken {
    pub files: [Vec<u8>; 2],
    pub photo: NewPhoto,
}

pub fn taken(width: u16, height: u16) -> Taken {
    described(jpeg(width, height, false))
}

fn described(file: Vec<u8>) -> Taken {
    let thumbnail = jpeg(64, 48, false);
    let said = |file: &[u8]| {
        let size = photo::vet(file).unwrap_or(photo::Size { width: 64, height: 48 });
        let (hash, bytes) = (PictureHash::of(file), file.len() as u32);
        Picture { hash, bytes, width: size.width, height: size.height }
    };
    let (picture, small) = (said(&file), said(&thumbnail));
    let id = PhotoId(Uuid::new_v4());
    let photo = NewPhoto { id, of: Subject::Job, picture, thumbnail: small, caption: String::new() };
    Taken { files: [file, thumbnail], photo }
}

/// Stores on the server that the job has this photo.
pub async fn tell(phone: &mut Peer, job: JobId, photo: &NewPhoto) {
    phone.open(job).await;
    let hash = phone.edit(job, &[Edit::AddPhoto { photo: photo.clone() }]).await;
    phone.until("the receipt", |it| it.copies[&job].acked.contains(&hash)).await;
    // The list of jobs comes a moment after the receipt.
    phone.until("the job in the list", |it| it.jobs.iter().any(|of| of.job == job)).await;
}

pub async fn ask(pass: &Pass, method: Method, path: &str) -> Response {
    let request = http().request(method, format!("{}{path}", pass.address)).header(ORIGIN, &pass.address);
    request.header(COOKIE, &pass.cookie).send().await.unwrap()
}

fn path(hash: PictureHash, job: JobId) -> String {
    format!("/photos/{hash}?job={job}")
}

/// How many bytes the server says that it has; `None` when it has the whole picture.
fn offset(answer: &Response) -> Option<usize> {
    match answer.headers()["upload-complete"].to_str().unwrap() {
        "?1" => None,
        _ => Some(answer.headers()["upload-offset"].to_str().unwrap().parse().unwrap()),
    }
}

pub async fn standing(pass: &Pass, job: JobId, hash: PictureHash) -> Option<usize> {
    let answer = ask(pass, Method::HEAD, &path(hash, job)).await;
    assert_eq!(answer.status(), StatusCode::OK);
    offset(&answer)
}

async fn put(pass: &Pass, job: JobId, hash: PictureHash, range: &str, piece: &[u8]) -> Response {
    let request = http().put(format!("{}{}", pass.address, path(hash, job))).header(ORIGIN, &pass.address);
    let request = request.header(COOKIE, &pass.cookie).header(CONTENT_RANGE, range);
    request.body(piece.to_vec()).send().await.unwrap()
}

async fn put_piece(pass: &Pass, job: JobId, file: &[u8], from: usize) -> Response {
    let end = (from + PIECE).min(file.len());
    let range = format!("bytes {from}-{}/{}", end - 1, file.len());
    put(pass, job, PictureHash::of(file), &range, &file[from..end]).await
}

pub async fn put_whole(pass: &Pass, job: JobId, file: &[u8]) {
    let mut next = Some(0);
    while let Some(from) = next {
        let answer = put_piece(pass, job, file, from).await;
        assert_eq!(answer.status(), StatusCode::OK);
        next = offset(&answer);
    }
}

#[tokio::test]
async fn a_picture_is_brought_in_pieces_cut_off_killed_and_gone_on_with() {
    let mut server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let job = new_job();
    let taken = taken(1_600, 1_200);
    let [file, _] = &taken.files;
    assert!(file.len() > 2 * PIECE, "{}", file.len());
    tell(&mut ada.connect().await, job, &taken.photo).await;
    let hash = taken.photo.picture.hash;
    assert_eq!(standing(&ada, job, hash).await, Some(0));
    assert_eq!(offset(&put_piece(&ada, job, file, 0).await), Some(PIECE));

    server.kill();
    server.restart();
    assert_eq!(standing(&ada, job, hash).await, Some(PIECE), "after a kill between pieces");
    assert_eq!(ask(&ada, Method::GET, &format!("/photos/{hash}")).await.status(), StatusCode::NOT_FOUND);
    // A phone that has not heard of the first piece's arrival sends it again, and learns where to go on.
    let again = put_piece(&ada, job, file, 0).await;
    assert_eq!((again.status(), offset(&again)), (StatusCode::CONFLICT, Some(PIECE)));
    // Cut off in the middle of a piece: the connection ends before the body does.
    drop(half_a_piece(&ada, job, file, PIECE).await);
    assert_eq!(standing(&ada, job, hash).await, Some(PIECE), "after a cut in the middle of a piece");
    let mut next = Some(PIECE);
    while let Some(from) = next {
        next = offset(&put_piece(&ada, job, file, from).await);
    }
    assert_eq!(standing(&ada, job, hash).await, None);

    server.kill();
    server.restart();
    let answer = ask(&ada, Method::GET, &format!("/photos/{hash}")).await;
    assert_eq!(answer.headers()[CONTENT_TYPE], "image/jpeg");
    assert_eq!(answer.headers()["x-content-type-options"], "nosniff");
    assert!(answer.bytes().await.unwrap() == file.as_slice());
    let part = http().get(format!("{}/photos/{hash}", ada.address)).header(COOKIE, &ada.cookie);
    let part = part.header(RANGE, "bytes=100-").send().await.unwrap();
    assert_eq!(part.status(), StatusCode::PARTIAL_CONTENT);
    assert_eq!(part.headers()[CONTENT_RANGE], format!("bytes 100-{}/{}", file.len() - 1, file.len()));
    assert!(part.bytes().await.unwrap() == file[100..]);
}

/// Sends a piece's head and half of its body.
async fn half_a_piece(pass: &Pass, job: JobId, file: &[u8], from: usize) -> TcpStream {
    use tokio::io::AsyncWriteExt;
    let host = pass.address.trim_start_matches("http://");
    let (end, path) = (from + PIECE, path(PictureHash::of(file), job));
    let head = format!(
        "PUT {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: {}\r\nCookie: {}\r\nContent-Length: {PIECE}\r\n\
         Content-Range: bytes {from}-{}/{}\r\n\r\n",
        pass.address,
        pass.cookie,
        end - 1,
        file.len(),
    );
    let mut socket = TcpStream::connect(host).await.unwrap();
    socket.write_all(head.as_bytes()).await.unwrap();
    socket.write_all(&file[from..from + PIECE / 2]).await.unwrap();
    socket
}

/// Where the server keeps a picture, or what of it has come.
pub fn kept(server: &Server, hash: PictureHash, ending: &str) -> PathBuf {
    let name = hash.to_string();
    server.folder().join("photos").join(&name[..2]).join(format!("{name}.{ending}"))
}

/// All its pieces are on the disk, and the server is killed before it puts the picture in place.
#[tokio::test]
async fn a_picture_is_there_when_the_server_says_so_and_can_come_when_it_does_not() {
    let mut server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let job = new_job();
    let taken = taken(320, 240);
    tell(&mut ada.connect().await, job, &taken.photo).await;
    let [file, thumbnail] = &taken.files;
    let (large, small) = (taken.photo.picture.hash, taken.photo.thumbnail.hash);
    put_whole(&ada, job, file).await;
    put_whole(&ada, job, thumbnail).await;
    server.kill();
    fs::rename(kept(&server, large, "jpg"), kept(&server, large, "part")).unwrap();
    // The length was on the disk when the power went, and the content was not.
    fs::remove_file(kept(&server, small, "jpg")).unwrap();
    fs::write(kept(&server, small, "part"), vec![0; thumbnail.len()]).unwrap();
    server.restart();
    assert_eq!(standing(&ada, job, large).await, None);
    assert!(ask(&ada, Method::GET, &format!("/photos/{large}")).await.bytes().await.unwrap() == file.as_slice());
    assert_eq!(standing(&ada, job, small).await, Some(0));
    put_whole(&ada, job, thumbnail).await;
    assert_eq!(standing(&ada, job, small).await, None);
}

#[tokio::test]
async fn a_picture_that_is_damaged_on_the_disk_is_not_handed_out_and_a_phone_brings_it_again() {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let job = new_job();
    let taken = taken(320, 240);
    tell(&mut ada.connect().await, job, &taken.photo).await;
    let ([file, _], hash) = (&taken.files, taken.photo.picture.hash);
    put_whole(&ada, job, file).await;
    let mut damaged = file.clone();
    damaged[file.len() / 2] ^= 1;
    fs::write(kept(&server, hash, "jpg"), &damaged).unwrap();
    assert_eq!(ask(&ada, Method::GET, &format!("/photos/{hash}")).await.status(), StatusCode::NOT_FOUND);
    assert_eq!(fs::read(kept(&server, hash, "damaged")).unwrap(), damaged);
    assert_eq!(standing(&ada, job, hash).await, Some(0));
    put_whole(&ada, job, file).await;
    assert!(ask(&ada, Method::GET, &format!("/photos/{hash}")).await.bytes().await.unwrap() == file.as_slice());
    assert!(!kept(&server, hash, "damaged").exists());
}

/// A piece that needs longer than other requests may take.
#[tokio::test]
async fn a_slow_network_brings_a_picture_too() {
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let job = new_job();
    let taken = taken(1_600, 1_200);
    tell(&mut ada.connect().await, job, &taken.photo).await;
    let [file, _] = &taken.files;
    let mut socket = half_a_piece(&ada, job, file, 0).await;
    tokio::time::sleep(Duration::from_secs(17)).await;
    socket.write_all(&file[PIECE / 2..PIECE]).await.unwrap();
    let mut answer = [0; 15];
    socket.read_exact(&mut answer).await.unwrap();
    assert_eq!(&answer, b"HTTP/1.1 200 OK");
    assert_eq!(standing(&ada, job, taken.photo.picture.hash).await, Some(PIECE));
}

#[tokio::test]
async fn only_the_pictures_of_a_job_are_taken_and_only_as_they_are_named() {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let mut phone = ada.connect().await;
    let (job, other) = (new_job(), new_job());
    let taken = taken(320, 240);
    let [file, _] = &taken.files;
    let hash = taken.photo.picture.hash;
    assert_eq!(put_piece(&ada, job, file, 0).await.status(), StatusCode::NOT_FOUND, "no such job");
    tell(&mut phone, job, &taken.photo).await;
    tell(&mut phone, other, &self::taken(321, 240).photo).await;
    assert_eq!(put_piece(&ada, other, file, 0).await.status(), StatusCode::NOT_FOUND, "in another job");
    assert_eq!(ask(&ada, Method::HEAD, &path(PictureHash([7; 32]), job)).await.status(), StatusCode::NOT_FOUND);
    assert_eq!(ask(&ada, Method::GET, "/photos/..%2Fnapline.redb").await.status(), StatusCode::NOT_FOUND);

    let all = file.len();
    for (range, piece) in [
        (format!("bytes 0-{}/{}", all - 1, all + 1), &file[..]),
        (format!("bytes 0-{}/{all}", all - 2), &file[..]),
        (format!("bytes 9-{}/{all}", all + 8), &file[..]),
        (format!("bytes 0-0/{all}"), &[]),
        ("words".to_owned(), &file[..]),
    ] {
        assert_eq!(put(&ada, job, hash, &range, piece).await.status(), StatusCode::UNPROCESSABLE_ENTITY, "{range}");
    }
    let long = vec![0; PIECE + 1];
    let range = format!("bytes 0-{PIECE}/{}", PIECE + 1);
    assert_eq!(put(&ada, job, hash, &range, &long).await.status(), StatusCode::PAYLOAD_TOO_LARGE);

    // The right length and another content: it is to come again from its start, and nothing of it is kept.
    let mut damaged = file.clone();
    damaged[all / 2] ^= 1;
    let refused = put(&ada, job, hash, &format!("bytes 0-{}/{all}", all - 1), &damaged).await;
    assert_eq!(refused.status(), StatusCode::CONFLICT);
    assert_eq!(refused.headers()["upload-offset"], "0");
    assert_eq!(standing(&ada, job, hash).await, Some(0));
    put_whole(&ada, job, file).await;
    assert_eq!(standing(&ada, job, hash).await, None);
}

#[tokio::test]
async fn a_file_that_says_where_it_was_taken_is_refused_whatever_the_client_is() {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let job = new_job();
    let told = described(talkative(320, 240));
    let [file, _] = &told.files;
    tell(&mut ada.connect().await, job, &told.photo).await;
    let refused = put_piece(&ada, job, file, 0).await;
    assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.text().await.unwrap().contains("it says more than it shows"));
    let kept = fs::read_dir(server.folder().join("photos")).unwrap();
    assert!(kept.flatten().all(|it| fs::read_dir(it.path()).unwrap().next().is_none()));
}

#[tokio::test]
async fn a_viewer_looks_and_brings_nothing_and_a_stranger_does_neither() {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let post = http().post(format!("{}/pairing?as=viewer", ada.address)).header(ORIGIN, &ada.address);
    let invited: serde_json::Value = post.header(COOKIE, &ada.cookie).send().await.unwrap().json().await.unwrap();
    let viewer = Pass::by_link(invited["urls"][0].as_str().unwrap(), "Cem").await;
    let stranger = Pass { cookie: "napline=none.none".to_owned(), ..ada.clone() };
    let job = new_job();
    let taken = taken(320, 240);
    let [file, thumbnail] = &taken.files;
    let hash = taken.photo.picture.hash;
    tell(&mut ada.connect().await, job, &taken.photo).await;
    put_whole(&ada, job, thumbnail).await;

    assert_eq!(put_piece(&viewer, job, file, 0).await.status(), StatusCode::FORBIDDEN);
    assert_eq!(put_piece(&stranger, job, file, 0).await.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(ask(&stranger, Method::HEAD, &path(hash, job)).await.status(), StatusCode::UNAUTHORIZED);
    let small = format!("/photos/{}", taken.photo.thumbnail.hash);
    assert_eq!(ask(&stranger, Method::GET, &small).await.status(), StatusCode::UNAUTHORIZED);
    assert!(ask(&viewer, Method::GET, &small).await.bytes().await.unwrap() == thumbnail.as_slice());
    assert_eq!(standing(&ada, job, hash).await, Some(0));
    // From another site's page, with a phone's cookie.
    let request = http().put(format!("{}{}", ada.address, path(hash, job))).header(ORIGIN, "http://elsewhere.example");
    assert_eq!(request.header(COOKIE, &ada.cookie).send().await.unwrap().status(), StatusCode::FORBIDDEN);
}

#[tokio::test]
async fn a_full_disk_says_so_and_the_picture_comes_when_there_is_room() {
    let mut server = Server::start_on_full_disk(400);
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let job = new_job();
    let taken = taken(1_600, 1_200);
    let [file, _] = &taken.files;
    let hash = taken.photo.picture.hash;
    tell(&mut ada.connect().await, job, &taken.photo).await;
    assert_eq!(offset(&put_piece(&ada, job, file, 0).await), Some(PIECE));
    let full = put_piece(&ada, job, file, PIECE).await;
    assert_eq!(full.status(), StatusCode::INSUFFICIENT_STORAGE);
    assert!(full.text().await.unwrap().contains("cannot store"));
    assert_eq!(standing(&ada, job, hash).await, Some(PIECE), "half a piece is no place to go on from");
    server.free_space();
    server.kill();
    server.restart();
    while let Some(from) = standing(&ada, job, hash).await {
        assert_eq!(put_piece(&ada, job, file, from).await.status(), StatusCode::OK);
    }
}

#[tokio::test]
async fn photos_take_no_more_room_than_they_may() {
    let server = Server::start_with(&["--photos-most", "0"]);
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let job = new_job();
    let taken = taken(320, 240);
    tell(&mut ada.connect().await, job, &taken.photo).await;
    let full = put_piece(&ada, job, &taken.files[0], 0).await;
    assert_eq!(full.status(), StatusCode::INSUFFICIENT_STORAGE);
    assert!(full.text().await.unwrap().contains("--photos-most"));
}

#[tokio::test]
async fn two_servers_bring_each_other_their_pictures() {
    let (shop, mut van) = (Server::start(), Server::start_with(&["--shop", "van 2"]));
    let in_shop = Pass::by_link(&shop.pairing_link(), "Ada").await;
    let in_van = Pass::by_link(&van.pairing_link(), "Ben").await;
    let (job, other) = (new_job(), new_job());
    let (here, there) = (taken(1_600, 1_200), taken(1_200, 900));
    tell(&mut in_shop.connect().await, job, &here.photo).await;
    tell(&mut in_van.connect().await, other, &there.photo).await;
    for file in &here.files {
        put_whole(&in_shop, job, file).await;
    }
    for file in &there.files {
        put_whole(&in_van, other, file).await;
    }
    assert_eq!(join(&in_van, &server_link(&in_shop).await).await, StatusCode::OK);
    let has = async |pass: &Pass, file: &[u8]| {
        let answer = ask(pass, Method::GET, &format!("/photos/{}", PictureHash::of(file))).await;
        answer.status() == StatusCode::OK && answer.bytes().await.unwrap() == file
    };
    // The calling server fetches and brings; a kill in between does not matter.
    until("the van to have the shop's", async || has(&in_van, &here.files[1]).await).await;
    van.kill();
    van.restart();
    for file in &here.files {
        until("the van to have the shop's", async || has(&in_van, file).await).await;
    }
    for file in &there.files {
        until("the shop to have the van's", async || has(&in_shop, file).await).await;
    }
}
