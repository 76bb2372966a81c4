//! A phone: headless Chromium of 390 × 844 points with a touch screen and a store of its own, driven as a finger would.

use std::fs;
use std::io::{BufRead, BufReader};
use std::os::unix::process::CommandExt;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;
use thirtyfour::prelude::*;
use thirtyfour::{ChromeCapabilities, ChromiumLikeCapabilities};

use crate::peer::choose_cryptography;
use crate::server::{PATIENCE, Server, client_of_today, workspace};

/// Points; two device pixels each.
const SCREEN: (u32, u32) = (390, 844);

/// How often a condition is looked at.
const GLANCE: Duration = Duration::from_millis(25);

/// A browser of its own. Dropping it ends the browser and forgets everything in it.
pub struct Phone {
    /// Whose phone it is, for messages and screenshots.
    pub owner: String,
    pub driver: WebDriver,
    chromedriver: Child,
    profile: TempDir,
}

/// What to touch: the first visible element that fits a selector, and whose name contains a text if one is given.
#[derive(Clone, Copy)]
pub struct Target<'a> {
    pub css: &'a str,
    pub name: Option<&'a str>,
}

impl<'a> From<&'a str> for Target<'a> {
    fn from(css: &'a str) -> Self {
        Self { css, name: None }
    }
}

impl<'a> From<(&'a str, &'a str)> for Target<'a> {
    fn from((css, name): (&'a str, &'a str)) -> Self {
        Self { css, name: Some(name) }
    }
}

impl Phone {
    pub async fn start(owner: &str) -> Self {
        client_of_today();
        choose_cryptography();
        let profile = tempfile::tempdir().expect("a folder for the browser");
        let (chromedriver, driver) = start_browser(&profile).await;
        Self { owner: owner.to_owned(), driver, chromedriver, profile }
    }

    /// Closes the browser and starts it again, as switching the phone off and on does.
    pub async fn restart(&mut self) {
        self.driver.clone().quit().await.expect("the browser to close");
        end(&mut self.chromedriver);
        (self.chromedriver, self.driver) = start_browser(&self.profile).await;
    }

    /// Takes in a certificate as an authority, as a person does in the settings.
    pub fn trust(&self, certificate: &[u8]) {
        let file = self.profile.path().join("taken-in.crt");
        fs::write(&file, certificate).expect("the certificate to be kept");
        let store = self.profile.path().join(".pki/nssdb");
        fs::create_dir_all(&store).expect("a folder for what the browser trusts");
        let store = format!("sql:{}", store.display());
        let certutil = |arguments: &[&str]| {
            let done = Command::new("certutil").args(["-d", &store]).args(arguments).status();
            assert!(
                done.is_ok_and(|it| it.success()),
                "certutil; `cargo xtask test` installs it, or: apt-get install libnss3-tools"
            );
        };
        certutil(&["-N", "--empty-password"]);
        certutil(&["-A", "-n", "shop", "-t", "C,,", "-i", &file.display().to_string()]);
    }

    /// Starts a phone and pairs it with the server by the printed link, as its camera would.
    pub async fn paired(owner: &str, server: &Server) -> Self {
        let phone = Self::start(owner).await;
        phone.pair(server).await;
        phone
    }

    /// Starts a phone and pairs it by a link from another one.
    pub async fn invited(owner: &str, by: &Self) -> Self {
        let link = by.invitation().await;
        let phone = Self::start(owner).await;
        phone.join(&link).await;
        phone
    }

    /// A pairing link, made on a phone that shows the list of jobs.
    pub async fn invitation(&self) -> String {
        self.tap("#add-phone").await;
        let link = self.see("#pairing-links code").await;
        self.tap("#add-phone-sheet [data-close]").await;
        link
    }

    pub async fn pair(&self, server: &Server) {
        self.join(&server.pairing_link()).await;
    }

    /// Pairs the phone by a link.
    pub async fn join(&self, link: &str) {
        self.open(link).await;
        self.write("input[name=name]", &self.owner).await;
        self.tap("button[type=submit]").await;
        self.wait_for(
            "the client to start",
            "return document.querySelector('#boot') === null && !location.pathname.startsWith('/join')",
        )
        .await;
    }

    pub async fn open(&self, address: &str) {
        self.driver.goto(address).await.expect("the page to open");
    }

    pub async fn reload(&self) {
        self.driver.refresh().await.expect("the page to reload");
    }

    /// Touches an element's middle once it is there, enabled and not covered.
    pub async fn tap(&self, target: impl Into<Target<'_>>) {
        let target = target.into();
        let (x, y) = self.spot(target).await;
        self.touch("touchStart", json!([{ "x": x, "y": y }])).await;
        self.touch("touchEnd", json!([])).await;
    }

    /// Taps keys of the keypad, each named by its `data-key`.
    pub async fn press(&self, keys: &[&str]) {
        for key in keys {
            self.tap(format!("[data-key=\"{key}\"]").as_str()).await;
        }
    }

    /// Writes a text into an input field, in place of what it holds: into whatever has the focus after the touch, as the phone's
    /// keyboard does.
    pub async fn write(&self, css: &str, text: &str) {
        self.tap(css).await;
        let script =
            format!("return document.activeElement?.matches(`{css}`) && (document.activeElement.select(), true)");
        self.wait_for(&format!("{css} to have the focus"), &script).await;
        self.send("Input.insertText", json!({ "text": text })).await;
    }

    /// What the page answers to a script.
    pub async fn ask(&self, script: &str) -> Value {
        self.ask_with(script, vec![]).await.unwrap_or_else(|error| panic!("{}: {script}: {error}", self.owner))
    }

    /// Waits until a script answers true.
    pub async fn wait_for(&self, what: &str, script: &str) {
        self.wait_until(what, async || {
            // A page that is being replaced answers nothing.
            self.ask_with(script, vec![]).await.is_ok_and(|it| it == Value::Bool(true)).then_some(())
        })
        .await;
    }

    /// Waits until an element that fits is visible, and answers its text.
    pub async fn see(&self, target: impl Into<Target<'_>>) -> String {
        let target = target.into();
        let what = format!("{} {:?}", target.css, target.name);
        self.wait_until(&what, async || {
            let found =
                self.ask_with(&format!("{FIND} return found ? found.textContent : null"), arguments(target)).await;
            found.ok().and_then(|it| it.as_str().map(str::to_owned))
        })
        .await
    }

    /// Saves what the screen shows as `target/screenshots/NAME.png`.
    pub async fn photograph(&self, name: &str) {
        let folder = workspace().join("target/screenshots");
        fs::create_dir_all(&folder).expect("a folder for screenshots");
        self.driver.screenshot(&folder.join(format!("{name}.png"))).await.expect("a screenshot");
    }

    /// Cuts or joins the phone's network, as airplane mode does.
    pub async fn set_network(&self, on: bool) {
        let conditions = json!({ "offline": !on, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1 });
        self.send("Network.enable", json!({})).await;
        self.send("Network.emulateNetworkConditions", conditions).await;
    }

    /// Slows the page's processor down by a factor.
    pub async fn slow_down(&self, factor: f64) {
        self.send("Emulation.setCPUThrottlingRate", json!({ "rate": factor })).await;
    }

    /// Sends a command of the DevTools protocol.
    pub async fn send(&self, method: &str, parameters: Value) -> Value {
        let sent = self.driver.cdp().send_raw(method, parameters).await;
        sent.unwrap_or_else(|error| panic!("{}: {method}: {error}", self.owner))
    }

    /// Where to touch an element.
    pub async fn spot(&self, target: Target<'_>) -> (f64, f64) {
        let what = format!("{} {:?} to touch", target.css, target.name);
        // A finger does not go for what is still moving.
        let mut before = None;
        self.wait_until(&what, async || {
            let spot = self.ask_with(&format!("{FIND}{SPOT}"), arguments(target)).await.ok()?;
            let now = (spot.get(0)?.as_f64()?, spot.get(1)?.as_f64()?);
            (before.replace(now) == Some(now)).then_some(now)
        })
        .await
    }

    async fn touch(&self, kind: &str, points: Value) {
        self.send("Input.dispatchTouchEvent", json!({ "type": kind, "touchPoints": points })).await;
    }

    async fn ask_with(&self, script: &str, arguments: Vec<Value>) -> WebDriverResult<Value> {
        Ok(self.driver.execute(script, arguments).await?.json().clone())
    }

    pub async fn wait_until<T>(&self, what: &str, mut look: impl AsyncFnMut() -> Option<T>) -> T {
        let start = Instant::now();
        loop {
            if let Some(seen) = look().await {
                return seen;
            }
            if start.elapsed() > PATIENCE {
                self.give_up(what).await;
            }
            tokio::time::sleep(GLANCE).await;
        }
    }

    async fn give_up(&self, what: &str) -> ! {
        let test = std::thread::current().name().unwrap_or_default().replace("::", "-");
        let name = format!("failed-{test}-{}", self.owner);
        self.photograph(&name).await;
        let shown = self.ask_with("return location.href + '\\n' + document.body.innerText", vec![]).await;
        let shown = shown.ok().and_then(|it| it.as_str().map(str::to_owned)).unwrap_or_default();
        let log: Vec<String> =
            self.driver.browser_log().await.unwrap_or_default().into_iter().map(|it| it.message).collect();
        let log = log.join("\n");
        panic!(
            "{}'s phone waits in vain for {what} (target/screenshots/{name}.png); it shows:\n{shown}\nconsole:\n{log}",
            self.owner
        );
    }
}

impl Drop for Phone {
    fn drop(&mut self) {
        // Nobody is left to answer a polite end of the session, and the browser outlives its driver but not their group.
        let _ = self.driver.clone().leak();
        end(&mut self.chromedriver);
    }
}

async fn start_browser(profile: &TempDir) -> (Child, WebDriver) {
    let (chromedriver, port) = start_chromedriver(profile);
    let driver = WebDriver::new(format!("http://127.0.0.1:{port}"), capabilities(profile))
        .await
        .expect("chromium to start (packages chromium and chromium-driver)");
    (chromedriver, driver)
}

fn end(chromedriver: &mut Child) {
    let group = format!("-{}", chromedriver.id());
    let _ = Command::new("kill").args(["-KILL", "--", &group]).status();
    let _ = chromedriver.wait();
}

/// Finds an element by its selector and name: its label for screen readers, or else its text.
const FIND: &str = "
    const [css, name] = arguments;
    const visible = (it) => it.getClientRects().length > 0 && getComputedStyle(it).visibility !== 'hidden';
    const called = (it) => name === null || (it.getAttribute('aria-label') ?? it.textContent).includes(name);
    const found = [...document.querySelectorAll(css)].find((it) => visible(it) && called(it)) ?? null;
";

/// The middle of what was found, unless it is disabled or something else lies over it.
const SPOT: &str = "
    if (!found || found.disabled || found.getAttribute('aria-disabled') === 'true') return null;
    found.scrollIntoView({ block: 'nearest', inline: 'nearest', behavior: 'instant' });
    const box = found.getBoundingClientRect();
    const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
    return found.contains(document.elementFromPoint(x, y)) ? [x, y] : null;
";

fn arguments(target: Target<'_>) -> Vec<Value> {
    vec![json!(target.css), json!(target.name)]
}

/// Starts a driver on a port of its own choice, which it prints.
fn start_chromedriver(home: &TempDir) -> (Child, u16) {
    let mut process = Command::new("chromedriver")
        .arg("--port=0")
        // What a browser trusts lies in the home folder.
        .env("HOME", home.path())
        .process_group(0)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("chromedriver; `cargo xtask test` installs it, or: apt-get install chromium chromium-driver");
    let mut lines = BufReader::new(process.stdout.take().expect("chromedriver's output")).lines().map_while(Result::ok);
    let port = lines.find_map(|line| line.split_once("successfully on port ")?.1.trim_end_matches('.').parse().ok());
    std::thread::spawn(move || lines.for_each(drop));
    (process, port.expect("chromedriver to say its port"))
}

fn capabilities(profile: &TempDir) -> ChromeCapabilities {
    let mut wanted = DesiredCapabilities::chrome();
    let profile = format!("--user-data-dir={}", profile.path().display());
    // Chromium's sandbox does not start for root, which is who runs most build machines.
    for argument in ["--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu", &profile] {
        wanted.add_arg(argument).expect("an argument for chromium");
    }
    let (width, height) = SCREEN;
    let screen = json!({ "width": width, "height": height, "pixelRatio": 2.0, "touch": true, "mobile": true });
    wanted
        .add_experimental_option("mobileEmulation", json!({ "deviceMetrics": screen }))
        .expect("the phone's screen to be described");
    wanted
}
