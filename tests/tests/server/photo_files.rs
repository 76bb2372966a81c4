use std::fs;
use std::path::Path;

use napline_tests::peer::{Pass, new_job};
use napline_tests::server::Server;
use reqwest::Method;
use shared_model::ids::JobId;
use shared_model::job::{Edit, PictureHash};
use shared_model::job_file;

use super::commands::{napline, text};
use super::photos::{Taken, ask, kept, put_whole, standing, taken, tell};

/// Runs a command; answers its exit code, what it printed and what it warned of.
fn run(arguments: &[&str]) -> (i32, String, String) {
    let output = napline(arguments, "");
    (output.status.code().unwrap(), text(&output.stdout), text(&output.stderr))
}

#[track_caller]
fn done(arguments: &[&str]) -> String {
    let (code, said, warned) = run(arguments);
    assert_eq!((code, warned.as_str()), (0, ""), "{arguments:?}");
    said
}

fn path(of: &Path) -> &str {
    of.to_str().unwrap()
}

async fn hands_out(pass: &Pass, file: &[u8]) -> bool {
    let answer = ask(pass, Method::GET, &format!("/photos/{}", PictureHash::of(file))).await;
    answer.bytes().await.unwrap() == file
}

/// A server with a job that has a photo, which is there whole.
async fn with_a_photo() -> (Server, Pass, JobId, Taken) {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let (job, taken) = (new_job(), taken(640, 480));
    tell(&mut ada.connect().await, job, &taken.photo).await;
    for file in &taken.files {
        put_whole(&ada, job, file).await;
    }
    (server, ada, job, taken)
}

/// A job file carries the pictures to a server that is not running; of a photo that was taken off too.
#[tokio::test(flavor = "multi_thread")]
async fn a_job_file_has_the_pictures_of_the_job() {
    let (server, ada, job, shown) = with_a_photo().await;
    let mut phone = ada.connect().await;
    let off = taken(320, 240);
    tell(&mut phone, job, &off.photo).await;
    for file in &off.files {
        put_whole(&ada, job, file).await;
    }
    let withdraw = |withdrawn| Edit::WithdrawPhoto { photo: off.photo.id, withdrawn };
    let hash = phone.edit(job, &[withdraw(true)]).await;
    phone.until("the receipt", |it| it.copies[&job].acked.contains(&hash)).await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("job.napline");
    done(&["export", &job.to_string(), "--data", path(server.folder()), "--output", path(&file)]);

    let mut other = Server::start();
    let ben = Pass::by_link(&other.pairing_link(), "Ben").await;
    other.stop();
    done(&["import", path(&file), "--data", path(other.folder())]);
    other.restart();
    for file in shown.files.iter().chain(&off.files) {
        assert!(hands_out(&ben, file).await);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_picture_that_is_missing_or_cannot_be_kept_is_named() {
    let (server, ada, job, here) = with_a_photo().await;
    let (away, folder) = (taken(320, 240), tempfile::tempdir().unwrap());
    tell(&mut ada.connect().await, job, &away.photo).await;
    let file = folder.path().join("job.napline");
    let export = ["export", &job.to_string(), "--data", path(server.folder()), "--output", path(&file)];
    let (code, said, warned) = run(&export);
    assert!(code == 1 && said.contains("is in") && warned.contains("without 1 of its photos"), "{said} {warned}");
    let photos = job_file::read(&fs::read(&file).unwrap()).unwrap().photos;
    assert!(here.files.iter().all(|it| photos[&job_file::photo_name_of(PictureHash::of(it))] == *it));

    let other = Server::start();
    let (code, said, warned) = run(&["import", path(&file), "--data", path(other.folder())]);
    assert!(code == 1 && said.contains("new here"), "{said}");
    assert!(warned.contains("the pictures of 1 of its photos are neither in the file nor here"), "{warned}");

    // A server without room for them changes nothing, and says why.
    let full = Server::start_with(&["--photos-most", "0"]);
    let (code, said, warned) = run(&["import", path(&file), "--data", path(full.folder())]);
    assert!(code == 3 && said.is_empty() && warned.contains("--photos-most"), "{said} {warned}");
    assert_eq!(done(&["jobs", "--data", path(full.folder())]), "");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_has_the_pictures_and_says_what_is_odd_among_the_files() {
    let (server, _ada, job, taken) = with_a_photo().await;
    let [file, thumbnail] = &taken.files;
    let (large, small) = (taken.photo.picture.hash, taken.photo.thumbnail.hash);
    let mut damaged = thumbnail.clone();
    damaged[9] ^= 1;
    fs::write(kept(&server, small, "jpg"), damaged).unwrap();
    fs::write(kept(&server, large, "part"), b"half").unwrap();
    fs::write(kept(&server, large, "unneeded"), b"2500000").unwrap();
    fs::write(server.folder().join(".DS_Store"), b"of a desktop").unwrap();
    fs::create_dir(server.folder().join("lost+found")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let backup = folder.path().join("monday.zip");
    for arguments in
        [&["backup", path(&backup), "--data", path(server.folder())][..], &["backup", path(&backup), "--verify"]]
    {
        let (code, _, warned) = run(arguments);
        assert_eq!(code, 0);
        for said in [".DS_Store is left out", "lost+found is left out", &format!("{small}.jpg is damaged")] {
            assert!(warned.contains(said), "{said}: {warned}");
        }
        assert_eq!(warned.lines().count(), 3, "{warned}");
    }

    // A new data disk, with what a check of the disk puts there.
    let disk = tempfile::tempdir().unwrap();
    fs::create_dir(disk.path().join("lost+found")).unwrap();
    done(&["restore", path(&backup), "--data", path(disk.path())]);
    let restored = Server::start_in(disk);
    let ben = Pass::by_link(&restored.pairing_link(), "Ben").await;
    assert!(hands_out(&ben, file).await);
    assert!(!hands_out(&ben, thumbnail).await, "it is damaged");
    assert!(!kept(&restored, large, "part").exists() && !kept(&restored, large, "unneeded").exists());
    assert_eq!(standing(&ben, job, small).await, Some(0), "and comes again");
}

/// A job without a name that is put away is so in the restored server too.
#[tokio::test(flavor = "multi_thread")]
async fn what_was_put_away_stays_put_away() {
    let server = Server::start();
    let mut ada = Pass::by_link(&server.pairing_link(), "Ada").await.connect().await;
    let job = new_job();
    ada.open(job).await;
    ada.edit(job, &[Edit::SetArchived { archived: true }]).await;
    ada.until("it to be put away", |it| it.jobs.iter().any(|it| it.job == job && it.archived)).await;
    let folder = tempfile::tempdir().unwrap();
    let (backup, target) = (folder.path().join("monday.zip"), tempfile::tempdir().unwrap());
    done(&["backup", path(&backup), "--data", path(server.folder())]);
    done(&["restore", path(&backup), "--data", path(target.path())]);
    let restored = Server::start_in(target);
    let mut ben = Pass::by_link(&restored.pairing_link(), "Ben").await.connect().await;
    ben.until("the list", |it| it.jobs.iter().any(|it| it.job == job && it.archived)).await;
}
