use std::io::{Cursor, Write};

use proptest::prelude::*;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use shared_model::ids::DeviceId;
use shared_model::job::{Edit, Job, JobDoc, NewChange};
use shared_model::job_file::{self, Photos, photo_name};
use uuid::Uuid;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::crew::{JOB, act, add_reading, add_room, add_wall, phone};
use super::interleavings::{Crew, Step, step};

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    /// Whatever a crew does, a file carries it to somebody who has nothing of it, and to somebody who has some of it.
    #[test]
    fn a_file_carries_any_job(steps in prop::collection::vec(step(), 1..120)) {
        let mut crew = Crew::new();
        steps.iter().for_each(|it: &Step| crew.take(it));
        let [one, other, _] = crew.docs.as_slice() else { unreachable!() };
        let photos = invented_photos();
        let file = job_file::read(&job_file::write(one, &photos, Vec::new()).unwrap()).unwrap();
        prop_assert_eq!((file.job, file.name, file.photos), (JOB, one.job().name, photos));
        prop_assert_eq!(file.heads, one.heads().iter().map(|it| it.0).collect::<Vec<_>>());

        let mut new = phone(200);
        new.apply(file.changes.clone()).unwrap();
        prop_assert_eq!((new.heads(), new.job()), (one.heads(), one.job()));

        let mut merged = JobDoc::load(JOB, &other.save(), [201; 16], DeviceId(Uuid::nil())).unwrap();
        merged.apply(file.changes).unwrap();
        let all = |doc: &JobDoc| doc.changes_since(&[]).into_iter().map(|it| it.hash).collect::<Vec<_>>();
        prop_assert!(all(one).iter().chain(&all(other)).all(|it| merged.has(it)));
    }
}

fn invented_photos() -> Photos {
    [b"no real photo".to_vec(), vec![0xff; 3_000], Vec::new()].map(|it| (photo_name(&it, "jpg"), it)).into()
}

/// A room of one wall, with a reading.
fn small() -> JobDoc {
    let mut doc = phone(1);
    act(&mut doc, &[Edit::NameJob { name: "Hall Street 4".to_owned() }, add_room(1, "Hall"), add_wall(1, 1)]);
    act(&mut doc, &[add_reading(1, 1, 1, 148, &[])]);
    doc
}

#[test]
fn other_programs_find_the_job_in_it() {
    let doc = small();
    let bytes = job_file::write(&doc, &Photos::new(), Vec::new()).unwrap();
    let mut archive = zip::ZipArchive::new(Cursor::new(&bytes)).unwrap();
    let job: Job = serde_json::from_reader(archive.by_name("job.json").unwrap()).unwrap();
    assert_eq!(job, doc.job());
    let manifest: Value = serde_json::from_reader(archive.by_name("manifest.json").unwrap()).unwrap();
    assert_eq!(manifest["about"]["name"], "Hall Street 4");
    assert_eq!(manifest["entries"].as_array().unwrap().len(), 2);
    let mut changes = Vec::new();
    std::io::copy(&mut archive.by_name("job.automerge").unwrap(), &mut changes).unwrap();
    // Automerge itself reads it, without anything of ours.
    let read = automerge::Automerge::load(&changes).unwrap();
    assert_eq!(read.get_heads(), doc.heads());
}

#[test]
fn a_file_is_named_for_its_job() {
    for (name, file) in [
        ("Hall Street 4", "hall-street-4"),
        ("  Größe/3 \\ ..", "größe-3"),
        ("../../etc/passwd", "etc-passwd"),
        ("", "job"),
        ("...", "job"),
    ] {
        assert_eq!(job_file::file_name(name), file);
    }
}

/// What cannot be read again is not written.
#[test]
fn a_file_has_no_more_photos_than_can_be_read() {
    let photos = |count: u32| -> Photos {
        let all = (0..count).map(|it| it.to_be_bytes().to_vec());
        all.map(|it| (photo_name(&it, "jpg"), it)).collect()
    };
    let most = job_file::write(&small(), &photos(4_000), Vec::new()).unwrap();
    assert_eq!(job_file::read(&most).unwrap().photos.len(), 4_000, "twice as many pictures as a job may have");
    assert_eq!(job_file::read_on_phone(&most).unwrap().photos.len(), 4_000);
    let error = job_file::write(&small(), &photos(4_001), Vec::new()).unwrap_err();
    assert!(error.to_string().contains("too large"), "{error}");
}

#[test]
fn any_damaged_byte_is_noticed() {
    let sound = job_file::write(&small(), &invented_photos(), Vec::new()).unwrap();
    job_file::read(&sound).unwrap();
    for at in 0..sound.len() {
        let mut damaged = sound.clone();
        damaged[at] ^= 1 << (at % 8);
        assert!(job_file::read(&damaged).is_err(), "byte {at} of {}", sound.len());
    }
}

#[test]
fn any_missing_end_is_noticed() {
    let sound = job_file::write(&small(), &invented_photos(), Vec::new()).unwrap();
    for length in 0..sound.len() {
        assert!(job_file::read(&sound[..length]).is_err(), "{length} of {}", sound.len());
    }
    let longer = [sound.as_slice(), b"\n"].concat();
    assert_eq!(job_file::read(&longer).unwrap_err().to_string(), "it is no file of Napline's, or its end is missing");
}

/// A file made by somebody who means harm: any entries, any manifest, a sound seal.
struct Forged {
    entries: Vec<(String, Vec<u8>)>,
    manifest: Value,
    /// What the bytes say in place of something else, before they are sealed.
    patch: Option<(&'static str, &'static str)>,
}

fn about(doc: &JobDoc) -> Value {
    let heads: Vec<String> = doc.heads().iter().map(ToString::to_string).collect();
    json!({ "format": "napline job", "version": 1, "job": JOB, "name": "forged", "heads": heads })
}

fn digest(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|it| format!("{it:02x}")).collect()
}

fn chunks(changes: &[NewChange]) -> Vec<u8> {
    changes.iter().flat_map(|it| it.bytes.clone()).collect()
}

impl Forged {
    /// Like a sound file, so that only what a test makes wrong is wrong.
    fn new() -> Self {
        let doc = small();
        let document = ("job.automerge".to_owned(), chunks(&doc.changes_since(&[])));
        let json = ("job.json".to_owned(), b"{}".to_vec());
        Self { manifest: json!({ "about": about(&doc) }), entries: vec![document, json], patch: None }
    }

    fn with(mut self, name: &str, bytes: &[u8]) -> Self {
        self.entries.retain(|it| it.0 != name);
        self.entries.push((name.to_owned(), bytes.to_vec()));
        self
    }

    fn about(mut self, key: &str, value: Value) -> Self {
        self.manifest["about"][key] = value;
        self
    }

    /// What the manifest says of entries, in place of the truth.
    fn claims(mut self, change: impl FnOnce(&mut Vec<Value>)) -> Self {
        let mut all = self.true_entries();
        change(&mut all);
        self.manifest["entries"] = all.into();
        self
    }

    fn true_entries(&self) -> Vec<Value> {
        let entry =
            |(name, bytes): &(String, Vec<u8>)| json!({ "name": name, "size": bytes.len(), "sha256": digest(bytes) });
        self.entries.iter().map(entry).collect()
    }

    fn error(mut self) -> String {
        if self.manifest.get("entries").is_none() {
            self.manifest["entries"] = self.true_entries().into();
        }
        self.entries.push(("manifest.json".to_owned(), self.manifest.to_string().into_bytes()));
        let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
        for (name, bytes) in &self.entries {
            archive.start_file(name, SimpleFileOptions::default()).unwrap();
            archive.write_all(bytes).unwrap();
        }
        archive.set_comment(format!("Napline SHA-256 {}", "0".repeat(64))).unwrap();
        let mut bytes = archive.finish().unwrap().into_inner();
        if let Some((from, to)) = self.patch {
            let (from, to) = (from.as_bytes(), to.as_bytes());
            for at in 0..bytes.len() - from.len() {
                if bytes[at..].starts_with(from) {
                    bytes[at..at + to.len()].copy_from_slice(to);
                }
            }
        }
        let digits = bytes.len() - 64;
        let seal = digest(&bytes[..digits]);
        bytes[digits..].copy_from_slice(seal.as_bytes());
        job_file::read(&bytes).map_or_else(|error| error.to_string(), |_| "taken".to_owned())
    }
}

#[test]
fn forged_archives_are_refused() {
    assert_eq!(Forged::new().error(), "taken", "what follows differs in one thing");
    let bomb = vec![0; 100 << 20];
    let hash = digest(b"photo");
    let photo = |name: &str| Forged::new().with(name, b"photo").error();
    let resized = |size: u64| Forged::new().with("job.json", &bomb).claims(|all| all[1]["size"] = size.into()).error();
    let cases = [
        (Forged::new().with("job.jsoX", b"[]"), "job.jsoX: no part of a job"),
        (
            Forged { patch: Some(("job.jsoX", "job.json")), ..Forged::new().with("job.jsoX", b"[]") },
            "two of its entries are one",
        ),
        (Forged::new().claims(|all| drop(all.pop())), "manifest.json: it does not name every entry once"),
        (Forged::new().claims(|all| all.push(all[1].clone())), "manifest.json: it does not name every entry once"),
        (Forged::new().claims(|all| all[1]["name"] = "other.json".into()), "other.json: no part of a job"),
        (
            Forged::new().claims(|all| all[1]["sha256"] = digest(b"[]").into()),
            "job.json: it is not what the manifest says",
        ),
        (Forged::new().claims(|all| all[1]["size"] = 1.into()), "job.json: it is longer than it says"),
        (Forged::new().claims(|all| all[1]["size"] = 3.into()), "job.json: it is not what the manifest says"),
        (Forged::new().claims(|all| all[1]["size"] = u64::MAX.into()), "too large"),
        (Forged::new().claims(|all| all[1]["size"] = "small".into()), "manifest.json: invalid type"),
        (Forged::new().about("format", "napline backup".into()), "another kind of file: napline backup"),
        (Forged::new().about("version", 2.into()), "a newer version wrote it"),
        (Forged::new().about("job", "../..".into()), "manifest.json: UUID parsing failed"),
        (Forged::new().about("heads", json!([])), "its changes are not all there"),
    ];
    for (forged, says) in cases {
        let error = forged.error();
        assert!(error.contains(says), "{error}, not: {says}");
    }
    assert!(resized(10).contains("job.json: it is longer than it says"), "{}", resized(10));
    for name in [
        "../job",
        "/etc/passwd",
        "photos/../../x",
        "photos//x",
        "photos/.x",
        "C:x",
        "photos\\x",
        "photos/a b.jpg",
        "photos/x.",
    ] {
        assert!(photo(name).contains("no name for an entry"), "{name}: {}", photo(name));
    }
    assert_eq!(photo(&format!("photos/{hash}.jpg")), "taken");
    for name in ["x.jpg", &format!("{hash}.JPG"), &hash, &format!("{hash}.a.b"), &format!("a/{hash}.jpg")] {
        assert!(photo(&format!("photos/{name}")).contains("its name is not the SHA-256"), "{name}");
    }
    let large = vec![7; (16 << 20) + 1];
    let too_large = Forged::new().with(&format!("photos/{}", photo_name(&large, "jpg")), &large).error();
    assert!(too_large.contains("more than 16 MiB"), "{too_large}");
}

#[test]
fn forged_changes_are_refused() {
    let doc = small();
    let all = doc.changes_since(&[]);
    let document = |bytes: &[u8]| Forged::new().with("job.automerge", bytes).error();
    assert!(document(b"").contains("its changes are not all there"));
    assert!(document(b"carpet").contains("not a change"));
    assert!(document(&doc.save()).contains("it is a whole document"), "{}", document(&doc.save()));
    let mut damaged = chunks(&all);
    let end = damaged.len() - 1;
    damaged[end] ^= 1;
    assert!(document(&damaged).contains("its changes are refused"), "{}", document(&damaged));
    let gap: Vec<NewChange> = all.iter().filter(|it| it.hash != all[all.len() - 2].hash).cloned().collect();
    assert!(document(&chunks(&gap)).contains("its changes are not all there"));
    assert!(document(&chunks(&all[..all.len() - 1])).contains("its changes are not all there"));
    assert!(document(&[chunks(&all), b"!".to_vec()].concat()).contains("not a change"));
}

#[test]
fn what_is_no_file_of_ours_is_said_so() {
    for other in [&b""[..], b"PK", b"{\"id\": 1}", &[0xff; 5_000]] {
        let error = job_file::read(other).unwrap_err().to_string();
        assert_eq!(error, "it is no file of Napline's, or its end is missing");
    }
    let sound = job_file::write(&small(), &Photos::new(), Vec::new()).unwrap();
    let mut flipped = sound;
    flipped[100] ^= 4;
    assert_eq!(job_file::read(&flipped).unwrap_err().to_string(), "it is damaged: it is not as it was written");
}
