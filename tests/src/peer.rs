//! A phone without a screen: the wire and the document of a real one, driven by a test.

use std::collections::BTreeMap;
use std::io;
use std::time::{Duration, Instant};

use futures_util::{SinkExt, StreamExt};
use reqwest::header::{CONTENT_TYPE, COOKIE, HOST, LOCATION, ORIGIN, SET_COOKIE};
use reqwest::{Response, StatusCode, redirect};
use shared_model::guard;
use shared_model::ids::{DeviceId, JobId, RoomId};
use shared_model::job::{Edit, Order, SCHEMA, SyncState, Timestamp};
use shared_model::seal::Seal;
use shared_model::wire::{Frame, Hello, JobEntry, Lost, PROTOCOL, Person, Role, Welcome, Whereabouts};
use tokio::net::TcpStream;
use tokio_tungstenite::tungstenite::client::IntoClientRequest;
use tokio_tungstenite::tungstenite::{Error as WsError, Message};
use tokio_tungstenite::{MaybeTlsStream, WebSocketStream};
use uuid::Uuid;

use crate::copy::Copy;
use crate::server::PATIENCE;

pub type Hash = [u8; 32];

pub type Socket = WebSocketStream<MaybeTlsStream<TcpStream>>;

/// A paired device's cookie, and where it is good for.
#[derive(Clone)]
pub struct Pass {
    /// As in `http://127.0.0.1:8420`.
    pub address: String,
    pub cookie: String,
}

/// A connected phone.
pub struct Peer {
    pub pass: Pass,
    pub welcome: Welcome,
    /// What the server lets it do.
    pub role: Option<Role>,
    pub jobs: Vec<JobEntry>,
    pub copies: BTreeMap<JobId, Copy>,
    pub seen: BTreeMap<(JobId, DeviceId), (Person, Whereabouts)>,
    /// What the server said before it hung up.
    pub goodbye: Option<String>,
    /// What the server said is damaged on its disk.
    pub damaged: BTreeMap<JobId, Vec<Lost>>,
    /// The newest change frame, and when it came.
    pub heard: Option<(Hash, Instant)>,
    socket: Socket,
}

/// An HTTP client that follows nothing, keeps nothing and trusts no certificate.
pub fn http() -> reqwest::Client {
    trusting(&[])
}

/// What every HTTP client in this process encrypts with.
pub fn choose_cryptography() {
    // Another test may have chosen it already.
    let _ = rustls::crypto::ring::default_provider().install_default();
}

/// An HTTP client that trusts only these authorities (DER).
pub fn trusting(authorities: &[&[u8]]) -> reqwest::Client {
    choose_cryptography();
    let authorities = authorities.iter().map(|it| reqwest::Certificate::from_der(it).expect("a certificate"));
    let client = reqwest::Client::builder().tls_certs_only(authorities).redirect(redirect::Policy::none());
    client.timeout(PATIENCE).build().expect("an HTTP client")
}

impl Pass {
    /// Opens a pairing link and fills in its form.
    pub async fn by_link(link: &str, name: &str) -> Self {
        let answer = Self::post_form(link, name, None).await;
        assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{link}");
        assert_eq!(answer.headers()[LOCATION], "/");
        let cookie = answer.headers()[SET_COOKIE].to_str().expect("a readable cookie");
        let pair = cookie.split(';').next().unwrap_or_default();
        Self { address: origin(link), cookie: pair.to_owned() }
    }

    /// Posts the form behind a link, as a browser does that may have a cookie already.
    pub async fn post_form(link: &str, name: &str, cookie: Option<&str>) -> Response {
        let body = format!("name={name}&device=test");
        let mut request = http().post(link).header(ORIGIN, origin(link)).body(body);
        request = request.header("content-type", "application/x-www-form-urlencoded");
        if let Some(cookie) = cookie {
            request = request.header(COOKIE, cookie);
        }
        request.send().await.expect("the server to answer")
    }

    /// Asks for a link for another phone.
    pub async fn invite(&self) -> String {
        let request = http().post(format!("{}/pairing", self.address));
        let answer = request.header(ORIGIN, &self.address).header(COOKIE, &self.cookie).send().await;
        let answer = answer.expect("the server to answer");
        assert_eq!(answer.status(), StatusCode::OK);
        let invitation: serde_json::Value = answer.json().await.expect("an invitation");
        invitation["urls"][0].as_str().expect("a link").to_owned()
    }

    /// Pairs another phone by a link that this one makes.
    pub async fn pair_another(&self, name: &str) -> Self {
        Self::by_link(&self.invite().await, name).await
    }

    pub async fn get(&self, path: &str) -> Response {
        let request = http().get(format!("{}{path}", self.address)).header(COOKIE, &self.cookie);
        request.send().await.expect("the server to answer")
    }

    /// Opens the socket, says hello and is welcomed.
    pub async fn connect(&self) -> Peer {
        self.connect_late(async {}).await
    }

    /// Opens the socket, and says hello only after something else.
    pub async fn connect_late(&self, meanwhile: impl Future<Output = ()>) -> Peer {
        let mut socket = self.socket(&self.address, Some(&self.cookie)).await.expect("the server to take the socket");
        meanwhile.await;
        send(&mut socket, &hello()).await;
        let welcome = match next_frame(&mut socket).await {
            Some(Frame::Welcome(welcome)) => welcome,
            other => panic!("no welcome but {other:?}"),
        };
        Peer {
            pass: self.clone(),
            welcome,
            role: None,
            jobs: Vec::new(),
            copies: BTreeMap::new(),
            seen: BTreeMap::new(),
            goodbye: None,
            damaged: BTreeMap::new(),
            heard: None,
            socket,
        }
    }

    /// Sends one first frame and answers the server's goodbye to it.
    pub async fn turned_away(&self, first: &Frame) -> String {
        let mut socket = self.socket(&self.address, Some(&self.cookie)).await.expect("the server to take the socket");
        send(&mut socket, first).await;
        while let Some(frame) = next_frame(&mut socket).await {
            if let Frame::Goodbye { reason } = frame {
                return reason;
            }
        }
        String::new()
    }

    /// Asks for a link for another server.
    pub async fn invite_server(&self) -> String {
        let post = http().post(format!("{}/pairing?as=server", self.address)).header(ORIGIN, &self.address);
        let answer = post.header(COOKIE, &self.cookie).send().await.expect("the server to answer");
        assert_eq!(answer.status(), StatusCode::OK);
        let invitation: serde_json::Value = answer.json().await.expect("an invitation");
        invitation["urls"][0].as_str().expect("a link").to_owned()
    }

    /// Pairs this phone's server with another by a link of that one.
    pub async fn join_server(&self, link: &str) -> StatusCode {
        let post = http().post(format!("{}/servers", self.address)).header(ORIGIN, &self.address);
        let post = post.header(COOKIE, &self.cookie).header(CONTENT_TYPE, "application/json");
        let post = post.body(serde_json::json!({ "link": link }).to_string());
        post.send().await.expect("the server to answer").status()
    }

    /// Only the socket, from a page of `origin`.
    pub async fn socket(&self, origin: &str, cookie: Option<&str>) -> Result<Socket, StatusCode> {
        self.try_socket(origin, cookie).await.map_err(|error| match error {
            WsError::Http(answer) => answer.status(),
            other => panic!("{other}"),
        })
    }

    /// The same, where nobody may answer.
    pub async fn try_socket(&self, origin: &str, cookie: Option<&str>) -> Result<Socket, WsError> {
        let authority = self.address.trim_start_matches("http://");
        let mut request = format!("ws://{authority}/sync").into_client_request().expect("a request");
        request.headers_mut().insert(HOST, authority.parse().expect("a host"));
        request.headers_mut().insert(ORIGIN, origin.parse().expect("an origin"));
        cookie.map(|it| request.headers_mut().insert(COOKIE, it.parse().expect("a cookie")));
        Ok(tokio_tungstenite::connect_async_with_config(request, None, true).await?.0)
    }
}

impl Peer {
    pub fn device(&self) -> DeviceId {
        self.welcome.you.device
    }

    pub async fn send(&mut self, frame: &Frame) {
        self.send_bytes(frame.encode()).await.expect("the frame to be sent");
    }

    /// Sends any bytes as one message; fails when the server has hung up.
    pub async fn send_bytes(&mut self, bytes: Vec<u8>) -> io::Result<()> {
        self.socket.send(Message::Binary(bytes.into())).await.map_err(io::Error::other)
    }

    /// Starts sharing a job, with the copy kept from before or an empty one.
    pub async fn open(&mut self, job: JobId) {
        let author = self.device();
        self.copies.entry(job).or_insert_with(|| Copy::new(job, author)).catch_up = SyncState::new();
        self.send(&Frame::Open { job }).await;
        for seal in self.copies[&job].seals.all() {
            self.send(&Frame::Sealed { job, seal }).await;
        }
    }

    /// Starts sharing a job and waits until this copy has all that the server has.
    pub async fn open_and_catch_up(&mut self, job: JobId) {
        self.open(job).await;
        self.until("the catch-up", |it| it.copies[&job].knows_all_that_the_server_has()).await;
    }

    /// Opens a job and talks until the server has all that this phone has: one message need not bring it all, for a summary of
    /// what the other has may take a change in a hundred for known.
    pub async fn open_and_bring(&mut self, job: JobId) {
        self.open(job).await;
        self.until("the server to have it all", |it| it.copies[&job].server_has_all()).await;
    }

    /// One action; sent at once.
    pub async fn edit(&mut self, job: JobId, edits: &[Edit]) -> Hash {
        let (hash, frame) = self.edit_offline(job, edits);
        self.send(&frame).await;
        hash
    }

    /// One action; kept here. Answers the frame that sends it.
    pub fn edit_offline(&mut self, job: JobId, edits: &[Edit]) -> (Hash, Frame) {
        let author = self.device();
        let copy = self.copies.entry(job).or_insert_with(|| Copy::new(job, author));
        let made = copy.doc.edit(edits, "test", Timestamp(1_800_000_000)).expect("an edit").expect("a change");
        copy.waiting.insert(made.hash.0, made.bytes.clone());
        (made.hash.0, Frame::Change { job, change: made.bytes, proof: None })
    }

    /// Sends everything again that was never confirmed.
    pub async fn send_waiting(&mut self, job: JobId) {
        for change in self.copies[&job].waiting.values().cloned().collect::<Vec<_>>() {
            self.send(&Frame::Change { job, change, proof: None }).await;
        }
    }

    /// Takes in what the server sends until the condition holds.
    pub async fn until(&mut self, what: &str, holds: impl Fn(&Self) -> bool) {
        let start = Instant::now();
        while !holds(self) {
            assert!(start.elapsed() < PATIENCE, "waited too long for {what}");
            assert!(self.hear().await, "the connection ended ({:?}) before {what}", self.goodbye);
        }
    }

    /// Takes in whatever comes within a time.
    pub async fn listen_for(&mut self, time: Duration) {
        let end = tokio::time::Instant::now() + time;
        while tokio::time::timeout_at(end, self.hear()).await == Ok(true) {}
    }

    /// Waits until the server has hung up, and answers its reason.
    pub async fn until_gone(&mut self) -> String {
        let start = Instant::now();
        while self.hear().await {
            assert!(start.elapsed() < PATIENCE, "the server does not hang up");
        }
        self.goodbye.clone().unwrap_or_default()
    }

    /// Takes in one frame; false when the connection has ended.
    pub async fn hear(&mut self) -> bool {
        let Some(frame) = next_frame(&mut self.socket).await else { return false };
        self.take(frame).await;
        true
    }

    /// The next live change of others, not taken in yet; other frames are. `None` when the connection has ended.
    pub async fn next_change(&mut self) -> Option<Vec<u8>> {
        loop {
            match next_frame(&mut self.socket).await? {
                Frame::Change { change, .. } => return Some(change),
                other => self.take(other).await,
            }
        }
    }

    /// Takes changes into a copy, all at once.
    pub fn take_changes(&mut self, job: JobId, changes: &[Vec<u8>]) {
        let vetted = changes.iter().map(|it| guard::change(it, None).expect("a sound change")).collect();
        self.copies.get_mut(&job).expect("a shared job").doc.apply(vetted).expect("changes that fit");
    }

    /// Leaves the talking to the caller.
    pub fn into_socket(self) -> Socket {
        self.socket
    }

    /// Hangs up without a word and keeps what a phone keeps.
    pub fn lose_connection(self) -> BTreeMap<JobId, Copy> {
        self.copies
    }

    async fn take(&mut self, frame: Frame) {
        match frame {
            Frame::Jobs(entries) => {
                self.jobs.retain(|it| entries.iter().all(|of| of.job != it.job));
                self.jobs.extend(entries);
                self.jobs.sort_by_key(|it| it.job);
            }
            Frame::Goodbye { reason } => self.goodbye = Some(reason),
            Frame::Role(role) => self.role = Some(role),
            Frame::Damaged { job, lost, .. } => {
                self.damaged.insert(job, lost);
            }
            Frame::Presence { job, who: Some(person), at } => {
                self.seen.insert((job, person.device), (person, at));
            }
            Frame::Ack { job, hashes, proof } => {
                let copy = self.copies.get_mut(&job).expect("a shared job");
                copy.keep_seal(proof.map(|proof| Seal { heads: hashes.clone(), proof }));
                for hash in hashes {
                    copy.waiting.remove(&hash);
                    copy.acked.insert(hash);
                }
            }
            Frame::Nack { job, hash, reason } => {
                self.copies.get_mut(&job).expect("a shared job").nacked.push((hash, reason));
            }
            Frame::Change { job, change, proof } => {
                let copy = self.copies.get_mut(&job).expect("a shared job");
                let vetted = guard::change(&change, None).expect("a sound change");
                self.heard = Some((vetted.hash().0, Instant::now()));
                let heads = vec![vetted.hash().0];
                copy.doc.apply(vec![vetted]).expect("a change that fits");
                copy.keep_seal(proof.map(|proof| Seal { heads, proof }));
            }
            Frame::Sync { job, message, seal } => {
                let copy = self.copies.get_mut(&job).expect("a shared job");
                let vetted = guard::sync(&message, copy.doc.len(), None, true).expect("a sound message");
                copy.doc.receive_sync(&mut copy.catch_up, vetted).expect("a message that fits");
                copy.keep_seal(seal);
                if let Some(message) = copy.doc.sync_message(&mut copy.catch_up, false) {
                    // A server that is being killed does not take it any more.
                    let _ = self.send_bytes(Frame::Sync { job, message, seal: None }.encode()).await;
                }
            }
            other => panic!("the server sent {other:?}"),
        }
    }
}

/// A greeting of this version.
pub fn hello() -> Frame {
    Frame::Hello(Hello { protocol: PROTOCOL, schema: SCHEMA, build: String::new() })
}

/// The edit that adds a room of this name.
pub fn add_room(name: &str) -> Edit {
    let room = RoomId(Uuid::new_v4());
    Edit::AddRoom { room, name: name.to_owned(), level: 0, goods: None, order: Order::between(None, None) }
}

pub fn new_job() -> JobId {
    JobId(Uuid::new_v4())
}

async fn send(socket: &mut Socket, frame: &Frame) {
    socket.send(Message::Binary(frame.encode().into())).await.expect("the frame to be sent");
}

async fn next_frame(socket: &mut Socket) -> Option<Frame> {
    let frame = async {
        loop {
            match socket.next().await {
                Some(Ok(Message::Binary(bytes))) => return Some(Frame::decode(&bytes).expect("a frame")),
                Some(Ok(Message::Close(_)) | Err(_)) | None => return None,
                Some(Ok(_)) => {}
            }
        }
    };
    tokio::time::timeout(PATIENCE, frame).await.expect("the server to say something")
}

/// `http://host:port` of a link.
fn origin(link: &str) -> String {
    link.splitn(4, '/').take(3).collect::<Vec<_>>().join("/")
}
