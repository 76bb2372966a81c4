//! How a command reaches the server that has the store open: over the loopback interface, by a secret in the data folder that
//! only its owner can read. It is no HTTP, so that no web page can speak it: one line of JSON with the secret and what is asked,
//! then the bytes that come with it; back come the bytes of the answer, then one line that says how it went.
//!
//! Bytes go in parts, each behind its length in four bytes, the highest first; a part of no bytes is the end.

use std::fs;
use std::io::{self, BufRead, BufReader, BufWriter, Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use tokio::net::TcpListener;
use tokio::runtime::Handle;
use tokio::sync::Semaphore;
use tokio::task::JoinHandle;

use super::FilesError;
use super::desk::{Ask, Desk, Done};
use crate::devices::hex;
use crate::photos::Shelf;
use crate::put;
use crate::sync::Hub;

/// The file in the data folder, there while the server runs.
pub const FILE: &str = "control";

const MOST_LINE: u64 = 64 << 10;
const MOST_PART: usize = 64 << 10;
/// Commands at the same time.
const MOST_COMMANDS: usize = 4;
/// Neither side waits longer for the other's next bytes, but for what the server does in between.
const PATIENCE: Duration = Duration::from_secs(60);

/// A server that is starting opens its ear a little after it has opened the store.
const TRIES: u32 = 30;
const PAUSE: Duration = Duration::from_millis(100);

#[derive(Serialize, Deserialize)]
struct Where {
    address: SocketAddr,
    secret: String,
}

#[derive(Serialize, Deserialize)]
struct Request {
    secret: String,
    ask: Ask,
}

/// The server's end. Dropping it takes it away.
pub struct Control {
    file: PathBuf,
    listening: JoinHandle<()>,
}

impl Control {
    pub async fn open(folder: &Path, hub: &Arc<Hub>, shelf: &Arc<Shelf>) -> io::Result<Self> {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await?;
        let mut secret = [0; 32];
        getrandom::fill(&mut secret).map_err(io::Error::other)?;
        let here = Where { address: listener.local_addr()?, secret: hex(&secret) };
        let file = folder.join(FILE);
        put::put(&file, &serde_json::to_vec(&here)?)?;
        let (folder, kept) = (folder.to_owned(), (Arc::clone(hub), Arc::clone(shelf)));
        let listening = tokio::spawn(listen(listener, digest(&here.secret), folder, kept));
        Ok(Self { file, listening })
    }
}

impl Drop for Control {
    fn drop(&mut self) {
        self.listening.abort();
        // What is left behind leads nowhere.
        let _ = fs::remove_file(&self.file);
    }
}

async fn listen(listener: TcpListener, secret: [u8; 32], folder: PathBuf, kept: (Arc<Hub>, Arc<Shelf>)) {
    let places = Arc::new(Semaphore::new(MOST_COMMANDS));
    while let Ok(place) = Arc::clone(&places).acquire_owned().await {
        let stream = match listener.accept().await.and_then(|(stream, _)| stream.into_std()) {
            Ok(stream) => stream,
            Err(error) => {
                tracing::warn!(%error, "a command was not taken");
                tokio::time::sleep(Duration::from_millis(200)).await;
                continue;
            }
        };
        let (folder, (hub, shelf)) = (folder.clone(), kept.clone());
        tokio::task::spawn_blocking(move || {
            let runtime = Handle::current();
            let desk = Desk { hub: &hub, shelf: &shelf, folder: &folder, runtime: &runtime };
            if let Err(error) = answer(stream, &secret, &desk) {
                tracing::debug!(%error, "a command's connection broke");
            }
            drop(place);
        });
    }
}

fn answer(stream: TcpStream, secret: &[u8; 32], desk: &Desk<'_>) -> io::Result<()> {
    prepare(&stream)?;
    let mut heard = BufReader::new(stream.try_clone()?);
    let mut line = String::new();
    (&mut heard).take(MOST_LINE).read_line(&mut line)?;
    // Hashes are compared, so the time that takes says nothing about the secret. Who does not know it hears nothing.
    let request = serde_json::from_str::<Request>(&line).ok().filter(|it| digest(&it.secret) == *secret);
    let Some(request) = request else { return Ok(()) };
    let mut said = Parts::new(BufWriter::new(stream));
    let mut body = heard_parts(heard);
    let done = desk.serve(&request.ask, &mut body, &mut said);
    // A connection that is closed with something unread breaks before its last words arrive.
    io::copy(&mut body, &mut io::sink())?;
    let mut stream = said.end()?;
    serde_json::to_writer(&mut stream, &done.map_err(|error| error.to_string()))?;
    stream.flush()
}

/// Asks the running server. The bytes of its answer go to `to`.
pub fn ask(folder: &Path, ask: &Ask, body: &mut dyn Read, to: &mut dyn Write) -> Result<Done, FilesError> {
    let (stream, secret) = connect(folder).ok_or_else(|| FilesError::Silent(folder.to_owned()))?;
    prepare(&stream)?;
    let mut request = BufWriter::new(stream.try_clone()?);
    serde_json::to_writer(&mut request, &Request { secret, ask: ask.clone() })?;
    request.write_all(b"\n")?;
    let mut said = Parts::new(request);
    io::copy(body, &mut said)?;
    said.end()?.flush()?;
    // A server that stops hangs up.
    stream.set_read_timeout(None)?;
    let mut heard = heard_parts(BufReader::new(stream));
    io::copy(&mut heard, to)?;
    let done: Result<Done, String> = serde_json::from_reader(heard.from)?;
    done.map_err(FilesError::Refused)
}

/// The server's ear and the secret; a server that is starting gets a moment.
fn connect(folder: &Path) -> Option<(TcpStream, String)> {
    let try_once = || {
        let here: Where = serde_json::from_slice(&fs::read(folder.join(FILE)).ok()?).ok()?;
        Some((TcpStream::connect(here.address).ok()?, here.secret))
    };
    (0..TRIES).find_map(|round| {
        std::thread::sleep(PAUSE * u32::from(round > 0));
        try_once()
    })
}

fn prepare(stream: &TcpStream) -> io::Result<()> {
    stream.set_nonblocking(false)?;
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))
}

fn digest(secret: &str) -> [u8; 32] {
    Sha256::digest(secret).into()
}

/// Writes bytes in parts.
struct Parts<W> {
    to: W,
}

impl<W: Write> Parts<W> {
    fn new(to: W) -> Self {
        Self { to }
    }

    fn end(mut self) -> io::Result<W> {
        self.to.write_all(&0_u32.to_be_bytes())?;
        Ok(self.to)
    }
}

impl<W: Write> Write for Parts<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let part = &bytes[..bytes.len().min(MOST_PART)];
        if !part.is_empty() {
            self.to.write_all(&(part.len() as u32).to_be_bytes())?;
            self.to.write_all(part)?;
        }
        Ok(part.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.to.flush()
    }
}

/// Reads bytes that come in parts, up to their end.
struct HeardParts<R> {
    from: R,
    left: usize,
    ended: bool,
}

fn heard_parts<R: Read>(from: R) -> HeardParts<R> {
    HeardParts { from, left: 0, ended: false }
}

impl<R: Read> Read for HeardParts<R> {
    fn read(&mut self, bytes: &mut [u8]) -> io::Result<usize> {
        if self.left == 0 && !self.ended {
            let mut length = [0; 4];
            self.from.read_exact(&mut length)?;
            self.left = u32::from_be_bytes(length) as usize;
            self.ended = self.left == 0;
        }
        let most = bytes.len().min(self.left);
        if most == 0 {
            return Ok(0);
        }
        let read = self.from.read(&mut bytes[..most])?;
        if read == 0 {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        self.left -= read;
        Ok(read)
    }
}
