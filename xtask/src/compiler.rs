//! A compiler for `wasm32-unknown-unknown`: rustup's where it has the target or can add it, otherwise Debian's own Rust.

use std::fmt;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use crate::command::{Error, answer, find, run, succeeds_within};
use crate::{packages, root};

const TARGET: &str = "wasm32-unknown-unknown";

/// Debian's Rust for browsers, and its standard library as source.
const DEBIAN: [&str; 3] = ["rustc-web", "cargo-web", "rust-web-src"];
const DEBIAN_RUSTC: &str = "/usr/bin/rustc";
const DEBIAN_CARGO: &str = "/usr/bin/cargo";

/// Long enough to fetch the target over a slow line.
const RUSTUP_PATIENCE: Duration = Duration::from_secs(120);

pub enum Compiler {
    /// The active toolchain, which has the target's standard library.
    Active { version: String },
    /// Debian's compiler, which builds the standard library from source and borrows a linker.
    Debian { version: String, linker: PathBuf },
}

/// The two ways the client is compiled.
#[derive(Clone, Copy)]
pub struct Profile {
    pub name: &'static str,
    /// Cargo's folder for it.
    pub folder: &'static str,
}

impl Compiler {
    /// Looks for a compiler, in order; installs what it may.
    pub fn find() -> Result<Self, Error> {
        if active_has_target() || rustup_adds_target() {
            return Ok(Self::Active { version: version("rustc") });
        }
        if !debian_is_ready() {
            packages::install("a compiler for wasm32-unknown-unknown", &DEBIAN)
                .map_err(|error| explain(error, "or, with rustup: rustup target add wasm32-unknown-unknown"))?;
        }
        if !debian_is_ready() {
            return Err(Error::Missing {
                missing: format!("Rust {} or newer for wasm32-unknown-unknown", env!("CARGO_PKG_RUST_VERSION")),
                remedy: "rustup target add wasm32-unknown-unknown".to_owned(),
            });
        }
        Ok(Self::Debian { version: version(DEBIAN_RUSTC), linker: linker()? })
    }

    /// Compiles the client and returns the module's path.
    pub fn compile(&self, profile: Profile) -> Result<PathBuf, Error> {
        // The two compilers differ, so the client never shares a target folder with the native build.
        let folder = root().join("target/wasm");
        let mut command = Command::new(match self {
            Self::Active { .. } => "cargo",
            Self::Debian { .. } => DEBIAN_CARGO,
        });
        forget_outer_cargo(&mut command);
        command.current_dir(root()).env("CARGO_TARGET_DIR", &folder);
        command.args(["build", "--package", "napline-web", "--target", TARGET, "--profile", profile.name]);
        if let Self::Debian { linker, .. } = self {
            command
                .env_remove("RUSTUP_TOOLCHAIN")
                .env("RUSTC", DEBIAN_RUSTC)
                // Building the standard library is an unstable option of a stable compiler.
                .env("RUSTC_BOOTSTRAP", "1")
                .env("CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_LINKER", linker)
                .args(["-Zbuild-std=std,panic_abort", "-Zbuild-std-features=optimize_for_size"]);
        }
        run(&mut command)?;
        Ok(folder.join(TARGET).join(profile.folder).join("napline-web.wasm"))
    }
}

impl fmt::Display for Compiler {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Active { version } => write!(f, "the active toolchain, {version}"),
            Self::Debian { version, linker } => {
                write!(f, "Debian's {version} with the standard library from source, linked by {}", linker.display())
            }
        }
    }
}

/// What the outer cargo tells its children would steer the inner one to the wrong compiler or drop the target's flags.
fn forget_outer_cargo(command: &mut Command) {
    for name in ["CARGO", "RUSTC", "RUSTC_WRAPPER", "RUSTFLAGS", "CARGO_ENCODED_RUSTFLAGS", "LD_LIBRARY_PATH"] {
        command.env_remove(name);
    }
}

fn active_sysroot() -> Option<PathBuf> {
    answer(Command::new("rustc").args(["--print", "sysroot"])).map(PathBuf::from)
}

fn active_has_target() -> bool {
    active_sysroot().is_some_and(|it| it.join("lib/rustlib").join(TARGET).join("lib").is_dir())
}

/// Asks rustup for the target, unless a person told it (`RUSTUP_AUTO_INSTALL=0`) to install nothing unasked.
fn rustup_adds_target() -> bool {
    if std::env::var("RUSTUP_AUTO_INSTALL").as_deref() == Ok("0") || find("rustup").is_none() {
        return false;
    }
    eprintln!("$ rustup target add {TARGET}");
    succeeds_within(Command::new("rustup").args(["target", "add", TARGET]), RUSTUP_PATIENCE) && active_has_target()
}

fn debian_is_ready() -> bool {
    let source = Path::new("/usr/lib/rustlib/src/rust/library/std/Cargo.toml");
    let new_enough = release(DEBIAN_RUSTC) >= release_of(env!("CARGO_PKG_RUST_VERSION"));
    source.exists() && Path::new(DEBIAN_CARGO).exists() && new_enough
}

/// LLVM's linker: rustup brings one, Debian has another.
fn linker() -> Result<PathBuf, Error> {
    let from_rustup = || {
        let rustlib = active_sysroot()?.join("lib/rustlib");
        let hosts = std::fs::read_dir(rustlib).ok()?.flatten();
        hosts.map(|host| host.path().join("bin/rust-lld")).find(|it| it.is_file())
    };
    let look = || from_rustup().or_else(|| find("wasm-ld"));
    match look() {
        Some(linker) => Ok(linker),
        None => {
            packages::install("a linker for wasm", &["lld"])?;
            look().ok_or_else(|| Error::Missing {
                missing: "wasm-ld".to_owned(),
                remedy: "sudo apt-get install lld".to_owned(),
            })
        }
    }
}

fn explain(error: Error, also: &str) -> Error {
    match error {
        Error::Missing { missing, remedy } => Error::Missing { missing, remedy: format!("{remedy}\n    {also}") },
        other => other,
    }
}

/// `rustc 1.96.0 (…)`, shortened to `rustc 1.96.0`.
fn version(rustc: &str) -> String {
    let said = answer(Command::new(rustc).arg("--version")).unwrap_or_default();
    said.split_whitespace().take(2).collect::<Vec<_>>().join(" ")
}

fn release(rustc: &str) -> (u32, u32) {
    version(rustc).split_once(' ').map_or((0, 0), |(_, number)| release_of(number))
}

/// Major and minor number of a version.
fn release_of(version: &str) -> (u32, u32) {
    let mut numbers = version.split('.').map_while(|it| it.parse().ok());
    (numbers.next().unwrap_or(0), numbers.next().unwrap_or(0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_release_is_its_first_two_numbers() {
        assert_eq!(release_of("1.96.0"), (1, 96));
        assert_eq!(release_of("1.90"), (1, 90));
        assert_eq!(release_of("unknown"), (0, 0));
        assert!(release_of("1.100.0") > release_of("1.90"));
    }
}
