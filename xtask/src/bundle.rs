//! The client's bundle in `web/dist`: hashed names, compressed once, ready to be embedded and cached for ever.
//!
//! The files in `web/` name each other by plain paths: `/style.css`, `/boot.js`, `/napline.js`, `/napline_bg.wasm`,
//! `/icons/…`. Each of these files gets a name with its content's hash below `/assets/`, and the new name is put in wherever
//! the plain one stands. The page, the service worker and the manifest keep their names. `__BUILD__` becomes the
//! build's hash, `__SHELL__` the list of all paths that make up the client.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use flate2::Compression;
use flate2::write::GzEncoder;
use sha2::{Digest, Sha256};
use wasm_bindgen_cli_support::Bindgen;

use crate::command::{Error, at};
use crate::compiler::{Compiler, Profile};
use crate::root;

#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Quality {
    /// Optimised, as shipped.
    Release,
    Dev,
}

impl Quality {
    const fn profile(self) -> Profile {
        match self {
            Self::Release => Profile { name: "web", folder: "web" },
            Self::Dev => Profile { name: "dev", folder: "debug" },
        }
    }
}

/// Everything that the bundle is made from; a change to any of it makes a new one.
const INPUTS: [&str; 7] =
    ["web", "shared-model", "xtask/Cargo.toml", "xtask/src", "Cargo.toml", "Cargo.lock", ".cargo/config.toml"];

/// Files that the browser asks for by a fixed name.
const FIXED: [&str; 3] = ["index.html", "manifest.webmanifest", "sw.js"];

/// Paths and contents, in the order of their paths. A path is absolute on the site: `/style.css`.
type Files = BTreeMap<String, Vec<u8>>;

/// Builds the bundle unless it is up to date. Of several at the same time, one builds and the others wait.
pub fn build(quality: Quality) -> Result<(), Error> {
    let target = root().join("target");
    at(&target, fs::create_dir_all(&target))?;
    let lock = target.join("bundle.lock");
    let locked = at(&lock, fs::File::create(&lock))?;
    at(&lock, locked.lock())?;
    let compiler = Compiler::find()?;
    eprintln!("client: compiled by {compiler}");
    let stamp = stamp(quality, &compiler)?;
    let stamp_file = root().join("target/bundle.stamp");
    if fs::read_to_string(&stamp_file).is_ok_and(|it| it == stamp) && dist().join("build.txt").exists() {
        eprintln!("client: web/dist is up to date");
        return Ok(());
    }
    let wasm = compiler.compile(quality.profile())?;
    let mut files = sources()?;
    files.append(&mut bind(&wasm, quality)?);
    let bundle = name_by_content(files)?;
    write(&bundle)?;
    at(&stamp_file, fs::write(&stamp_file, stamp))
}

/// What the bundle weighs: each kind of compression with its bytes.
pub fn weights() -> Result<[(&'static str, u64); 3], Error> {
    let (mut raw, mut gzip, mut brotli) = (0, 0, 0);
    for (path, bytes) in read_folder(&dist(), &dist())? {
        match Path::new(&path).extension().and_then(|it| it.to_str()) {
            Some("gz") => gzip += bytes.len() as u64,
            Some("br") => brotli += bytes.len() as u64,
            _ if compressible(&path) => raw += bytes.len() as u64,
            _ => {}
        }
    }
    Ok([("raw", raw), ("gzip", gzip), ("brotli", brotli)])
}

pub fn kilobytes(bytes: u64) -> String {
    format!("{:.1} kB", bytes as f64 / 1000.0)
}

fn dist() -> PathBuf {
    root().join("web/dist")
}

fn stamp(quality: Quality, compiler: &Compiler) -> Result<String, Error> {
    let mut hash = Sha256::new();
    hash.update(format!("{compiler} {}", quality.profile().name));
    for input in INPUTS {
        for (path, bytes) in read_folder(root(), &root().join(input))? {
            if !path.starts_with("/web/dist/") {
                hash.update(path);
                hash.update((bytes.len() as u64).to_le_bytes());
                hash.update(bytes);
            }
        }
    }
    Ok(hex(&hash.finalize()))
}

/// The files of `web/` that go to the browser as they are.
fn sources() -> Result<Files, Error> {
    let web = root().join("web");
    let mut files = read_folder(&web, &web)?;
    files.retain(|path, _| path != "/Cargo.toml" && !["/src/", "/dist/"].iter().any(|it| path.starts_with(it)));
    Ok(files)
}

/// Every file below `folder` (or the file itself), by its path below `base`.
fn read_folder(base: &Path, folder: &Path) -> Result<Files, Error> {
    let mut files = Files::new();
    if folder.is_dir() {
        for entry in at(folder, fs::read_dir(folder))? {
            let path = at(folder, entry)?.path();
            if !(path.is_dir() && path == dist() && base != dist()) {
                files.append(&mut read_folder(base, &path)?);
            }
        }
    } else {
        let name = folder.strip_prefix(base).unwrap_or(folder).to_string_lossy().replace('\\', "/");
        files.insert(format!("/{name}"), at(folder, fs::read(folder))?);
    }
    Ok(files)
}

/// Makes the module loadable: its JavaScript and the module that fits it.
fn bind(wasm: &Path, quality: Quality) -> Result<Files, Error> {
    let out = root().join("target/wasm/bindgen");
    if out.exists() {
        at(&out, fs::remove_dir_all(&out))?;
    }
    let bind = || {
        Bindgen::new()
            .input_path(wasm)
            .out_name("napline")
            .web(true)?
            .typescript(false)
            .omit_default_module_path(true)
            .remove_name_section(quality == Quality::Release)
            .remove_producers_section(true)
            .generate(&out)
    };
    bind().map_err(|error| Error::Bundle(format!("{error:#}")))?;
    let files = read_folder(&out, &out)?;
    match files.keys().find(|path| path.starts_with("/snippets/")) {
        Some(snippet) => Err(Error::Bundle(format!(
            "a dependency brings JavaScript of its own ({snippet}); it would need a hashed name"
        ))),
        None => Ok(files),
    }
}

/// Gives every file but the fixed ones a name made from its content, what is named before what names it.
fn name_by_content(mut files: Files) -> Result<Files, Error> {
    for fixed in FIXED {
        if !files.contains_key(&format!("/{fixed}")) {
            return Err(Error::Bundle(format!("web/{fixed} is missing")));
        }
    }
    let build = short_hash(files.iter().flat_map(|(path, bytes)| [path.as_bytes(), bytes]));
    let mut names: Vec<(String, String)> = Vec::new();
    let mut bundle = Files::new();
    while let Some(path) = next_to_name(&files) {
        let bytes = files.remove(&path).unwrap_or_default();
        let bytes = rename(&path, bytes, &names, &build);
        let named = hashed_name(&path, &bytes);
        bundle.insert(named.clone(), bytes);
        names.push((path, named));
    }
    let shell: Vec<&str> =
        std::iter::once("/").chain(bundle.keys().map(String::as_str)).chain(["/manifest.webmanifest"]).collect();
    let shell = format!("[{}]", shell.iter().map(|path| format!("\"{path}\"")).collect::<Vec<_>>().join(", "));
    for (path, bytes) in files {
        let text = rename(&path, bytes, &names, &build);
        let text = if is_text(&path) {
            String::from_utf8_lossy(&text).replace("__SHELL__", &shell).into_bytes()
        } else {
            text
        };
        bundle.insert(path, text);
    }
    bundle.insert("/build.txt".to_owned(), format!("{build}\n").into_bytes());
    Ok(bundle)
}

/// A file that names no other file that still has its plain name.
fn next_to_name(files: &Files) -> Option<String> {
    let open: Vec<&String> = files.keys().filter(|path| !FIXED.contains(&&path[1..])).collect();
    let names_another = |path: &String| {
        let text = String::from_utf8_lossy(files.get(path).map_or(&[], Vec::as_slice));
        is_text(path) && open.iter().any(|other| *other != path && text.contains(&quoted(other)))
    };
    open.iter().find(|path| !names_another(path)).or(open.first()).map(|path| (*path).clone())
}

fn rename(path: &str, bytes: Vec<u8>, names: &[(String, String)], build: &str) -> Vec<u8> {
    if !is_text(path) {
        return bytes;
    }
    let mut text = String::from_utf8_lossy(&bytes).replace("__BUILD__", build);
    for (plain, named) in names {
        text = text.replace(&quoted(plain), &quoted(named));
    }
    text.into_bytes()
}

/// How one file names another, whatever the language.
fn quoted(path: &str) -> String {
    format!("\"{path}\"")
}

fn hashed_name(path: &str, bytes: &[u8]) -> String {
    let file = path.rsplit('/').next().unwrap_or(path);
    let (stem, extension) = file.rsplit_once('.').unwrap_or((file, "bin"));
    format!("/assets/{stem}-{}.{extension}", short_hash([bytes]))
}

fn is_text(path: &str) -> bool {
    ["js", "css", "html", "svg", "webmanifest"].iter().any(|it| path.ends_with(&format!(".{it}")))
}

fn compressible(path: &str) -> bool {
    is_text(path) || path.ends_with(".wasm")
}

fn short_hash<'a>(parts: impl IntoIterator<Item = &'a [u8]>) -> String {
    let mut hash = Sha256::new();
    parts.into_iter().for_each(|part| hash.update(part));
    hex(&hash.finalize()[..6])
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Writes the bundle beside the old one, then puts it in its place.
fn write(bundle: &Files) -> Result<(), Error> {
    let fresh = root().join("target/dist.new");
    if fresh.exists() {
        at(&fresh, fs::remove_dir_all(&fresh))?;
    }
    for (path, bytes) in bundle {
        let file = fresh.join(&path[1..]);
        let folder = file.parent().unwrap_or(&fresh);
        at(folder, fs::create_dir_all(folder))?;
        at(&file, fs::write(&file, bytes))?;
        if compressible(path) {
            let (gzip, brotli) = (gzip(bytes), brotli(bytes));
            eprintln!("{:>10} {:>10} {:>10}  {path}", bytes.len(), gzip.len(), brotli.len());
            let beside = |suffix: &str| PathBuf::from(format!("{}.{suffix}", file.display()));
            at(&file, fs::write(beside("gz"), gzip))?;
            at(&file, fs::write(beside("br"), brotli))?;
        }
    }
    if dist().exists() {
        at(&dist(), fs::remove_dir_all(dist()))?;
    }
    at(&dist(), fs::rename(&fresh, dist()))?;
    let [raw, gzip, brotli] = weights()?.map(|(kind, bytes)| format!("{} {kind}", kilobytes(bytes)));
    eprintln!("client: {raw}, {gzip}, {brotli} (target under 700 kB)");
    Ok(())
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    // Writing to memory does not fail.
    encoder.write_all(bytes).and_then(|()| encoder.finish()).unwrap_or_default()
}

fn brotli(bytes: &[u8]) -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = brotli::CompressorWriter::new(&mut out, 1 << 16, 11, 22);
    let written = encoder.write_all(bytes);
    drop(encoder);
    written.map_or_else(|_| Vec::new(), |()| out)
}
