//! `cargo xtask test`: every check, one summary, an honest exit code.

use std::time::{Duration, Instant};

use crate::command::{Error, cargo, find, run};
use crate::{build_server, packages};

/// Chromium with its driver, what tells it whom to trust, and letters to draw.
const BROWSER: [&str; 4] = ["chromium", "chromium-driver", "libnss3-tools", "fonts-dejavu-core"];

pub fn test() -> Result<(), Error> {
    let mut summary = Summary::default();
    summary.check("browser installed", install_browser);
    summary.check("format", || run(cargo().args(["fmt", "--all", "--check"])));
    let binary = summary.check("client and server, release", build_server);
    summary.check("lints", || {
        run(cargo().args(["clippy", "--workspace", "--all-targets", "--quiet", "--", "--deny", "warnings"]))
    });
    summary.check("tests", || {
        let mut tests = cargo();
        tests.args(["test", "--workspace", "--no-fail-fast"]);
        // Without it the browser and server tests build their own, and say why they cannot.
        if let Some(binary) = &binary {
            tests.env("NAPLINE_BIN", binary);
        }
        run(&mut tests)
    });
    summary.tell()
}

pub fn install_browser() -> Result<(), Error> {
    if ["chromium", "chromedriver", "certutil"].iter().all(|it| find(it).is_some()) {
        return Ok(());
    }
    packages::install("chromium, chromedriver or certutil", &BROWSER)
}

#[derive(Default)]
struct Summary {
    checks: Vec<(&'static str, Duration, Option<Error>)>,
}

impl Summary {
    fn check<T>(&mut self, name: &'static str, check: impl FnOnce() -> Result<T, Error>) -> Option<T> {
        eprintln!("\n== {name}");
        let start = Instant::now();
        let (done, error) = match check() {
            Ok(it) => (Some(it), None),
            Err(error) => (None, Some(error)),
        };
        if let Some(error) = &error {
            eprintln!("{error}");
        }
        self.checks.push((name, start.elapsed(), error));
        done
    }

    fn tell(self) -> Result<(), Error> {
        eprintln!();
        for (name, took, error) in &self.checks {
            let result = if error.is_none() { "ok    " } else { "FAILED" };
            eprintln!("{result} {name} ({:.0} s)", took.as_secs_f64());
        }
        let failed = self.checks.iter().filter(|(_, _, error)| error.is_some()).count();
        match failed {
            0 => Ok(()),
            n => Err(Error::Tests(format!("{n} of {} checks failed", self.checks.len()))),
        }
    }
}
