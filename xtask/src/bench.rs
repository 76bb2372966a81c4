//! `cargo xtask bench`: all benchmarks, then their figures in one table.

use std::fs;
use std::io::{BufRead, BufReader};
use std::process::Stdio;

use crate::command::{Error, at, cargo};
use crate::{build_server, bundle, root, suite};

/// A benchmark prints its figures as lines of this form, separated by tabs: mark, name, value with unit, aim.
const MARK: &str = "figure\t";

pub fn bench() -> Result<(), Error> {
    suite::install_browser()?;
    let binary = build_server()?;
    let mut table: Vec<[String; 3]> = Vec::new();
    for (kind, bytes) in bundle::weights()? {
        let aim = if kind == "brotli" { "under 700 kB" } else { "" };
        table.push([format!("client, {kind}"), bundle::kilobytes(bytes), aim.to_owned()]);
    }
    let bytes = at(&binary, fs::metadata(&binary))?.len();
    table.push(["server binary with client".to_owned(), bundle::kilobytes(bytes), String::new()]);

    let mut command = cargo();
    command.args(["bench", "--package", "napline-tests", "--benches"]).env("NAPLINE_BIN", &binary);
    let line = "cargo bench --package napline-tests --benches";
    eprintln!("$ {line}");
    let failed = |source| Error::NotStarted { command: line.to_owned(), source };
    let mut child = command.stdout(Stdio::piped()).spawn().map_err(failed)?;
    for said in child.stdout.take().into_iter().flat_map(|it| BufReader::new(it).lines()) {
        let said = said.map_err(failed)?;
        match said.strip_prefix(MARK) {
            Some(figure) => {
                let mut cells = figure.split('\t').map(str::to_owned);
                table.push([(); 3].map(|()| cells.next().unwrap_or_default()));
            }
            None => println!("{said}"),
        }
    }
    let status = child.wait().map_err(failed)?;

    let text = lay_out(&table);
    println!("\n{text}");
    let file = root().join("target/figures.txt");
    at(&file, fs::write(&file, text))?;
    if status.success() { Ok(()) } else { Err(Error::Failed { command: line.to_owned(), status }) }
}

fn lay_out(table: &[[String; 3]]) -> String {
    let width = |column: usize| table.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
    let (name, value) = (width(0), width(1));
    let rows = table.iter().map(|[n, v, aim]| format!("{n:<name$}  {v:>value$}  {aim}").trim_end().to_owned() + "\n");
    rows.collect()
}
