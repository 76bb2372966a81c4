use std::collections::BTreeSet;
use std::fs;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use napline_tests::peer::{Pass, add_room, new_job};
use napline_tests::server::Server;
use shared_model::job::Edit;
use shared_model::job_file;

use super::commands::{napline, text};

/// Runs a command that must succeed; answers what it printed.
#[track_caller]
fn done(arguments: &[&str]) -> String {
    let output = napline(arguments, "");
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {}", text(&output.stderr));
    text(&output.stdout)
}

/// Runs a command that must refuse; answers why it did.
#[track_caller]
fn refused(arguments: &[&str], code: i32) -> String {
    let output = napline(arguments, "");
    assert_eq!(output.status.code(), Some(code), "{arguments:?}: {}", text(&output.stdout));
    assert_eq!(text(&output.stdout), "");
    text(&output.stderr)
}

fn path(of: &Path) -> &str {
    of.to_str().unwrap()
}

fn entries(folder: &Path) -> Vec<PathBuf> {
    fs::read_dir(folder).unwrap().map(|it| it.unwrap().path()).collect()
}

fn mode(file: &Path) -> u32 {
    fs::metadata(file).unwrap().permissions().mode() & 0o777
}

/// A folder for files, and the name of one in it.
fn file(name: &str) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join(name);
    (folder, file)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_taken_in_the_middle_of_the_work_has_all_that_was_acknowledged() {
    let mut server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let mut phone = ada.connect().await;
    let job = new_job();
    phone.open_and_catch_up(job).await;
    phone.edit(job, &[Edit::NameJob { name: "Hall Street 4".to_owned() }]).await;
    for n in 0..200 {
        phone.edit(job, &[add_room(&format!("{n}"))]).await;
    }
    phone.until("some receipts", |it| it.copies[&job].acked.len() >= 100).await;
    fs::create_dir(server.folder().join("own")).unwrap();
    fs::write(server.folder().join("own/key.pem"), "an invented secret").unwrap();

    let acked: BTreeSet<_> = phone.copies[&job].acked.clone();
    let (_kept, backup) = file("monday.zip");
    let (data, target) = (server.folder().to_owned(), backup.clone());
    let taking = tokio::task::spawn_blocking(move || done(&["backup", path(&target), "--data", path(&data)]));
    while !taking.is_finished() {
        phone.edit(job, &[add_room("meanwhile")]).await;
        phone.listen_for(std::time::Duration::from_millis(5)).await;
    }
    let said = taking.await.unwrap();
    assert!(said.contains("1 jobs with") && said.contains("secrets"), "{said}");
    assert_eq!(mode(&backup), 0o600);
    server.kill();

    assert!(done(&["backup", path(&backup), "--verify"]).starts_with("whole: 1 jobs"));
    let restored = tempfile::tempdir().unwrap();
    done(&["restore", path(&backup), "--data", path(restored.path())]);
    let secret = restored.path().join("own/key.pem");
    assert_eq!((fs::read_to_string(&secret).unwrap().as_str(), mode(&secret)), ("an invented secret", 0o600));
    assert!(!restored.path().join("control").exists());

    let second = Server::start_in(restored);
    let mut reader = Pass::by_link(&second.pairing_link(), "Reader").await.connect().await;
    reader.open_and_catch_up(job).await;
    let there: BTreeSet<_> = reader.copies[&job].doc.changes_since(&[]).iter().map(|it| it.hash.0).collect();
    assert!(acked.len() >= 100);
    assert_eq!(acked.difference(&there).count(), 0, "of {} acknowledged changes", acked.len());

    // The phone that was paired then is paired still, notices that it is another store, and brings what came after.
    let again = Pass { address: second.address(), ..ada }.connect().await;
    assert_ne!(again.welcome.replica, phone.welcome.replica);
    assert_eq!(again.welcome.you, phone.welcome.you);
    let mut again = again;
    again.copies = phone.lose_connection();
    again.open_and_bring(job).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_backup_is_refused_whole_and_nothing_is_left_behind() {
    let server = Server::start_demo();
    let (folder, backup) = file("monday.zip");
    done(&["backup", path(&backup), "--data", path(server.folder())]);
    assert!(refused(&["backup", path(&backup), "--data", path(server.folder())], 2).contains("is there already"));

    let sound = fs::read(&backup).unwrap();
    let target = folder.path().join("new");
    let before = entries(folder.path());
    for (name, damaged) in [
        ("flipped", [&sound[..sound.len() / 2], &[!sound[sound.len() / 2]], &sound[sound.len() / 2 + 1..]].concat()),
        ("cut", sound[..sound.len() - 1].to_vec()),
        ("empty", Vec::new()),
    ] {
        fs::write(&backup, &damaged).unwrap();
        for arguments in
            [&["restore", path(&backup), "--data", path(&target)][..], &["backup", path(&backup), "--verify"]]
        {
            let said = refused(arguments, 3);
            assert!(said.contains("monday.zip: it is"), "{name}: {said}");
        }
        assert_eq!(entries(folder.path()), before, "{name}");
    }

    fs::write(&backup, &sound).unwrap();
    let said = refused(&["restore", path(&backup), "--data", path(server.folder())], 2);
    assert!(said.contains("is not empty"), "{said}");
    done(&["restore", path(&backup), "--data", path(&target)]);
    assert!(done(&["jobs", "--data", path(&target)]).contains("Sorrel Lane 14"));
    assert_eq!(entries(folder.path()).len(), before.len() + 1, "the restored folder only");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_goes_from_one_server_to_another_as_a_file() {
    let (one, other) = (Server::start_demo(), Server::start());
    let (_folder, demo) = file("demo.napline");
    done(&["export", "sorrel lane 14", "--data", path(one.folder()), "-o", path(&demo)]);
    let file = job_file::read(&fs::read(&demo).unwrap()).unwrap();

    let ben = Pass::by_link(&other.pairing_link(), "Ben").await;
    let mut phone = ben.connect().await;
    let said = done(&["import", path(&demo), "--data", path(other.folder())]);
    assert!(said.contains("changes are new here"), "{said}");
    phone.until("the job in the list", |it| it.jobs.iter().any(|it| it.job == file.job)).await;
    phone.open_and_catch_up(file.job).await;
    let heads = |it: &napline_tests::copy::Copy| it.doc.heads().iter().map(|it| it.0).collect::<Vec<_>>();
    assert_eq!(heads(&phone.copies[&file.job]), file.heads);

    // Both go on; the file from the other brings its part, and is live on phones at once.
    let ack = phone.edit(file.job, &[add_room("Ben's")]).await;
    phone.until("the receipt", |it| it.copies[&file.job].acked.contains(&ack)).await;
    let (_folder, back) = self::file("back.napline");
    let id = file.job.to_string();
    done(&["export", &id, "--data", path(other.folder()), "-o", path(&back)]);
    let mut ada = Pass::by_link(&one.pairing_link(), "Ada").await.connect().await;
    ada.open_and_catch_up(file.job).await;
    let hers = ada.edit(file.job, &[add_room("Ada's")]).await;
    ada.until("the receipt", |it| it.copies[&file.job].acked.contains(&hers)).await;
    assert!(done(&["import", path(&back), "--data", path(one.folder())]).contains(": 1 of"));
    ada.until("Ben's room", |it| it.copies[&file.job].room_names().contains("Ben's")).await;
    assert!(ada.copies[&file.job].room_names().contains("Ada's"));
    assert!(done(&["import", path(&back), "--data", path(one.folder())]).contains(": 0 of"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_job_file_changes_nothing() {
    let mut server = Server::start_demo();
    let (folder, demo) = file("demo.napline");
    done(&["export", "Sorrel Lane 14", "--data", path(server.folder()), "-o", path(&demo)]);
    let mut bytes = fs::read(&demo).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x10;
    let damaged = folder.path().join("damaged.napline");
    fs::write(&damaged, bytes).unwrap();
    let empty = Server::start();
    for data in [server.folder(), empty.folder()] {
        let said = refused(&["import", path(&damaged), "--data", path(data)], 3);
        assert!(said.contains("damaged.napline: it is damaged"), "{said}");
    }
    assert_eq!(done(&["jobs", "--data", path(empty.folder())]), "");
    let again = folder.path().join("again.napline");
    // Without a server the commands open the store themselves.
    assert!(server.stop().success());
    assert!(!server.folder().join("control").exists());
    done(&["export", "Sorrel Lane 14", "--data", path(server.folder()), "-o", path(&again)]);
    assert_eq!(fs::read(&again).unwrap(), fs::read(&demo).unwrap());
}

#[test]
fn the_open_job_is_what_takeoff_reads() {
    let server = Server::start_demo();
    let (_folder, job) = file("job.json");
    done(&["export", "Sorrel Lane 14", "--json", "--data", path(server.folder()), "-o", path(&job)]);
    let takeoff = napline(&["takeoff", path(&job)], "");
    assert!(text(&takeoff.stdout).starts_with("Sorrel Lane 14"), "{}", text(&takeoff.stderr));
    let piped = done(&["export", "Sorrel Lane 14", "--json", "--data", path(server.folder()), "-o", "-"]);
    assert_eq!(piped, fs::read_to_string(&job).unwrap());
}

#[test]
fn only_who_reads_the_data_folder_commands_the_server() {
    let server = Server::start();
    // The first command waits for a server that is starting.
    assert_eq!(done(&["jobs", "--data", path(server.folder())]), "");
    let control = server.folder().join("control");
    assert_eq!(mode(&control), 0o600);
    let here: serde_json::Value = serde_json::from_str(&fs::read_to_string(&control).unwrap()).unwrap();
    for said in [
        "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n".to_owned(),
        "POST / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n{\"ask\":\"Backup\"}\n".to_owned(),
        format!("{{\"secret\":\"{}\",\"ask\":\"Backup\"}}\n", "0".repeat(64)),
        "\n".to_owned(),
        "x".repeat(100_000),
    ] {
        let mut stream = TcpStream::connect(here["address"].as_str().unwrap()).unwrap();
        // It may hang up before it has heard all.
        let _ = stream.write_all(said.as_bytes());
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        assert_eq!(text(&answer), "", "{}", &said[..said.len().min(20)]);
    }
    assert_eq!(done(&["jobs", "--data", path(server.folder())]), "", "and it goes on");
}

#[test]
fn what_is_not_there_is_said_so() {
    let folder = tempfile::tempdir().unwrap();
    let data = path(folder.path());
    let server = Server::start_demo();
    let running = path(server.folder());
    for (arguments, code, says) in [
        (&["jobs", "--data", data][..], 2, "there is no store in"),
        (&["backup", "/nonexistent/b.zip", "--data", running], 3, "/nonexistent/b.zip: No such file"),
        (&["restore", "/nonexistent/b.zip", "--data", data], 3, "/nonexistent/b.zip: No such file"),
        (&["import", "/nonexistent/a.napline", "--data", running], 3, "/nonexistent/a.napline: No such file"),
        (&["export", "Elm Row 1", "--data", running], 2, "there is no job \"Elm Row 1\""),
    ] {
        let said = refused(arguments, code);
        assert!(said.contains(says), "{arguments:?}: {said}");
    }
    assert_eq!(entries(folder.path()).len(), 0, "a question makes no store");
}
