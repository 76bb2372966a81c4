//! The two servers that run in node: installing, starting and reaching them.

use std::fs;
use std::net::{Ipv4Addr, TcpStream};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use futures_util::SinkExt;
use napline_tests::peer::Socket;
use napline_tests::server::{PATIENCE, free_port, workspace};
use tempfile::TempDir;
use tokio_tungstenite::tungstenite::{Bytes, Message};

/// What `npm ci` needs, and the script of our own.
const FILES: [&str; 3] = ["package.json", "package-lock.json", "automerge-repo.js"];

/// A running server. Dropping it ends it.
pub struct Node {
    process: Child,
    pub port: u16,
    /// Where it keeps its documents, if it does.
    _store: Option<TempDir>,
}

/// Installs the servers into the target folder, unless these versions are there; answers what is in the way.
pub fn install() -> Result<(), String> {
    let (from, to) = (workspace().join("tests/benches/load"), folder());
    let same = |file: &str| fs::read(from.join(file)).ok() == fs::read(to.join(file)).ok();
    if FILES.iter().all(|it| same(it)) && to.join("installed").exists() {
        return Ok(());
    }
    fs::create_dir_all(&to).map_err(|error| error.to_string())?;
    for file in FILES {
        fs::copy(from.join(file), to.join(file)).map_err(|error| format!("{file}: {error}"))?;
    }
    let npm = ["ci", "--ignore-scripts", "--no-audit", "--no-fund", "--loglevel=error"];
    let done = Command::new("npm").args(npm).current_dir(&to).status();
    match done {
        Ok(status) if status.success() => fs::write(to.join("installed"), "").map_err(|error| error.to_string()),
        Ok(status) => Err(format!("`npm ci` in {} ended with {status}", to.display())),
        Err(error) => Err(format!("npm does not start: {error}")),
    }
}

fn folder() -> PathBuf {
    workspace().join("target/load-servers")
}

impl Node {
    pub fn start(script: &str, stores: bool) -> Self {
        let port = free_port();
        let mut command = Command::new("node");
        command.arg(script).current_dir(folder()).stdin(Stdio::null()).stdout(Stdio::null());
        command.env("HOST", "127.0.0.1").env("PORT", port.to_string()).env("NODE_ENV", "production");
        let store = stores.then(|| tempfile::tempdir().expect("a folder"));
        command.env_remove("YPERSISTENCE").envs(store.iter().map(|it| ("YPERSISTENCE", it.path())));
        let process = command.spawn().expect("node to start");
        let node = Self { process, port, _store: store };
        let start = Instant::now();
        while TcpStream::connect((Ipv4Addr::LOCALHOST, port)).is_err() {
            assert!(start.elapsed() < PATIENCE, "{script} does not listen");
            thread::sleep(Duration::from_millis(10));
        }
        node
    }

    pub fn process_id(&self) -> u32 {
        self.process.id()
    }
}

impl Drop for Node {
    fn drop(&mut self) {
        // It may have failed, which the phones have told.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

pub async fn socket(address: &str) -> Socket {
    let connected = tokio_tungstenite::connect_async_with_config(address, None, true).await;
    connected.expect("the server to take the socket").0
}

pub async fn send(socket: &mut Socket, frame: Vec<u8>) {
    socket.send(Message::Binary(Bytes::from(frame))).await.expect("the server to take a frame");
}
