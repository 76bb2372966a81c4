//! Debian packages that a task needs.

use std::path::Path;
use std::process::Command;

use crate::command::{Error, answer, run};

/// Installs the packages when this process may; otherwise the error says the command.
pub fn install(missing: &str, packages: &[&str]) -> Result<(), Error> {
    let by_hand = || Error::Missing {
        missing: missing.to_owned(),
        remedy: format!("sudo apt-get update && sudo apt-get install {}", packages.join(" ")),
    };
    if !Path::new("/etc/debian_version").exists() || answer(Command::new("id").arg("-u")).as_deref() != Some("0") {
        return Err(by_hand());
    }
    run(apt_get().arg("update"))?;
    run(apt_get().args(["install", "--yes", "--no-install-recommends", "--no-remove"]).args(packages))
}

fn apt_get() -> Command {
    let mut command = Command::new("apt-get");
    command.env("DEBIAN_FRONTEND", "noninteractive");
    command
}
