//! A server of one's own: the real binary, a fresh folder, a free port.

use std::env;
use std::fs::File;
use std::io::{BufRead, BufReader, Seek, SeekFrom};
use std::net::{Ipv4Addr, SocketAddrV4, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// How long anything may take on a loaded machine before a test gives up.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// A running server. Dropping it kills it and removes its data.
pub struct Server {
    process: Child,
    said: Arc<Mutex<Vec<String>>>,
    folder: TempDir,
    port: u16,
    /// Which networks it listens on.
    interface: Ipv4Addr,
    arguments: Vec<String>,
    most_kilobytes: Option<u32>,
}

impl Server {
    /// Starts an empty server.
    pub fn start() -> Self {
        Self::start_with(&[])
    }

    /// Starts a server that has the demo house.
    pub fn start_demo() -> Self {
        Self::start_with(&["--demo"])
    }

    /// Starts a server with more arguments.
    pub fn start_with(arguments: &[&str]) -> Self {
        Self::start_on(new_folder(), &[&["--no-tls"], arguments].concat(), None)
    }

    /// Starts a server that speaks https.
    pub fn start_secure(arguments: &[&str]) -> Self {
        Self::start_on(new_folder(), arguments, None)
    }

    /// Starts a server on the data in a folder.
    pub fn start_in(folder: TempDir) -> Self {
        Self::start_on(folder, &["--no-tls"], None)
    }

    /// Starts a server on a disk that is full when a file reaches this size (a file size limit, which holds for root too).
    pub fn start_on_full_disk(most_kilobytes: u32) -> Self {
        Self::start_on(new_folder(), &["--no-tls"], Some(most_kilobytes))
    }

    /// Starts a server that every network of this computer reaches, and is told of.
    pub fn start_in_network(arguments: &[&str]) -> Self {
        Self::begin(new_folder(), &[&["--no-tls"], arguments].concat(), None, Ipv4Addr::UNSPECIFIED)
    }

    fn start_on(folder: TempDir, arguments: &[&str], most_kilobytes: Option<u32>) -> Self {
        Self::begin(folder, arguments, most_kilobytes, Ipv4Addr::LOCALHOST)
    }

    fn begin(folder: TempDir, arguments: &[&str], most_kilobytes: Option<u32>, interface: Ipv4Addr) -> Self {
        let port = free_port();
        let arguments: Vec<String> = arguments.iter().map(|it| (*it).to_owned()).collect();
        let listen = SocketAddrV4::new(interface, port);
        let (process, said) = spawn(&mut command(folder.path(), listen, &arguments, most_kilobytes));
        let server = Self { process, said, folder, port, interface, arguments, most_kilobytes };
        server.wait_until_up();
        server
    }

    /// Where the phones find it, without a slash at the end.
    pub fn address(&self) -> String {
        let scheme = if self.arguments.iter().any(|it| it == "--no-tls") { "http" } else { "https" };
        format!("{scheme}://127.0.0.1:{}", self.port)
    }

    /// The same without encryption, for a phone that does not trust the shop yet.
    pub fn plain_address(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    pub fn port(&self) -> u16 {
        self.port
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    pub fn process_id(&self) -> u32 {
        self.process.id()
    }

    /// The link with a one-time secret that the server printed last.
    pub fn pairing_link(&self) -> String {
        let start = Instant::now();
        loop {
            let said = self.said.lock().unwrap_or_else(PoisonError::into_inner).clone();
            let link = said.iter().rev().flat_map(|line| line.split_whitespace()).find(|it| it.contains("/join/"));
            if let Some((_, secret)) = link.and_then(|it| it.split_once("/join/")) {
                return format!("{}/join/{secret}", self.address());
            }
            assert!(start.elapsed() < PATIENCE, "no pairing link among:\n{}", said.join("\n"));
            thread::sleep(Duration::from_millis(10));
        }
    }

    /// Ends the process as a power cut would: SIGKILL, no shutdown.
    pub fn kill(&mut self) {
        self.process.kill().expect("the server to be killed");
        self.process.wait().expect("the server to end");
    }

    /// Asks it to stop (SIGTERM), waits until it has, and answers how it ended.
    pub fn stop(&mut self) -> ExitStatus {
        self.signal("TERM");
        let start = Instant::now();
        loop {
            if let Some(ended) = self.process.try_wait().expect("the server's state") {
                return ended;
            }
            assert!(start.elapsed() < PATIENCE, "the server does not stop");
            thread::sleep(Duration::from_millis(10));
        }
    }

    /// Stops it in its tracks, as a laptop whose lid is closed: its connections stay open and nobody answers.
    pub fn pause(&self) {
        self.signal("STOP");
    }

    pub fn resume(&self) {
        self.signal("CONT");
    }

    fn signal(&self, name: &str) {
        let sent = Command::new("kill").args([&format!("-{name}"), &self.process.id().to_string()]).status();
        assert!(sent.is_ok_and(|it| it.success()), "the server was not running");
    }

    /// Starts it again on the same data and the same port.
    pub fn restart(&mut self) {
        let listen = SocketAddrV4::new(self.interface, self.port);
        let mut command = command(self.folder.path(), listen, &self.arguments, self.most_kilobytes);
        (self.process, self.said) = spawn(&mut command);
        self.wait_until_up();
    }

    /// Starts it again on the same data and another port.
    pub fn restart_elsewhere(&mut self) {
        self.port = free_port();
        self.restart();
    }

    /// Takes the limit off: somebody has freed space. Holds from the next start.
    pub fn free_space(&mut self) {
        self.most_kilobytes = None;
    }

    fn wait_until_up(&self) {
        let start = Instant::now();
        while TcpStream::connect((Ipv4Addr::LOCALHOST, self.port)).is_err() {
            let said = || self.said.lock().unwrap_or_else(PoisonError::into_inner).join("\n");
            assert!(start.elapsed() < PATIENCE, "the server does not listen; it said:\n{}", said());
            thread::sleep(Duration::from_millis(2));
        }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may have been killed by the test.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

fn new_folder() -> TempDir {
    tempfile::tempdir().expect("a folder for the server's data")
}

/// The server's binary: `NAPLINE_BIN`, or else one built now from today's sources. It has some build of the client.
pub fn binary() -> &'static Path {
    static BINARY: OnceLock<PathBuf> = OnceLock::new();
    BINARY.get_or_init(|| match env::var_os("NAPLINE_BIN") {
        Some(path) => PathBuf::from(path),
        None => {
            if !workspace().join("web/dist/build.txt").exists() {
                cargo(&["xtask", "web"]);
            }
            cargo(&["build", "--package", "napline"]);
            let target = env::var_os("CARGO_TARGET_DIR").map_or_else(|| workspace().join("target"), PathBuf::from);
            target.join("debug/napline")
        }
    })
}

/// Brings the client up to date, unless `NAPLINE_BIN` names a binary that has one.
pub fn client_of_today() {
    static CLIENT: OnceLock<()> = OnceLock::new();
    CLIENT.get_or_init(|| {
        if env::var_os("NAPLINE_BIN").is_none() {
            cargo(&["xtask", "web"]);
        }
    });
}

fn cargo(arguments: &[&str]) {
    let done = Command::new(env!("CARGO")).args(arguments).current_dir(workspace()).status();
    assert!(
        done.is_ok_and(|status| status.success()),
        "the tests need the server with the client in it: run `cargo {}` and read its error, or set NAPLINE_BIN",
        arguments.join(" ")
    );
}

/// The workspace's folder.
pub fn workspace() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap_or(Path::new("."))
}

fn command(folder: &Path, listen: SocketAddrV4, arguments: &[String], most_kilobytes: Option<u32>) -> Command {
    let mut command = match most_kilobytes {
        None => Command::new(binary()),
        Some(most) => {
            // Writes past the limit fail instead of ending the process. `ulimit -f` counts 512-byte blocks.
            let limited = format!("trap '' XFSZ; ulimit -f {}; exec \"$0\" \"$@\"", most * 2);
            let mut shell = Command::new("sh");
            shell.arg("-c").arg(limited).arg(binary()).stderr(full_log(most));
            shell
        }
    };
    command.arg("serve").arg("--data").arg(folder);
    command.args(["--listen", &listen.to_string(), "--pair"]).args(arguments);
    command
}

/// The log is on the full disk too: nothing can be written to it from the start.
fn full_log(most_kilobytes: u32) -> File {
    let mut log = tempfile::tempfile().expect("a log");
    log.set_len(u64::from(most_kilobytes) * 1024).and_then(|()| log.seek(SeekFrom::End(0))).expect("a full log");
    log
}

fn spawn(command: &mut Command) -> (Child, Arc<Mutex<Vec<String>>>) {
    let mut process =
        command.stdin(Stdio::null()).stdout(Stdio::piped()).spawn().expect("the server's binary to start");
    let said = Arc::new(Mutex::new(Vec::new()));
    if let Some(stdout) = process.stdout.take() {
        let heard = Arc::clone(&said);
        thread::spawn(move || {
            for line in BufReader::new(stdout).lines().map_while(Result::ok) {
                heard.lock().unwrap_or_else(PoisonError::into_inner).push(line);
            }
        });
    }
    (process, said)
}

/// A port that nobody listens on at this moment.
pub fn free_port() -> u16 {
    let probe = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a free port");
    probe.local_addr().expect("the probe's address").port()
}
