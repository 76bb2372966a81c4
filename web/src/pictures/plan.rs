//! What is to be done with the pictures on this phone. Touches nothing: what is known goes in, steps come out.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};
use shared_model::ids::JobId;
use shared_model::job::{Job, Photo, Picture, PictureHash, Timestamp};

use crate::truth::photos;

/// Less room than this on the phone, in bytes, and pictures that the server has make way; thumbnails stay.
const LITTLE_ROOM: u64 = 200 << 20;
/// Pictures that nobody asked for come as long as so much room is left, in bytes: more than what would make them go again.
const ENOUGH_ROOM: u64 = 300 << 20;
/// Seconds after which a photo that was taken off and is nowhere else is not kept any longer.
const KEPT_OFF: i64 = 30 * 24 * 3_600;

/// A picture that a job on this phone names.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Named {
    pub job: JobId,
    pub picture: Picture,
    pub thumbnail: bool,
    /// When its photo was taken.
    pub taken: Timestamp,
    /// Its photo was not taken off.
    pub shown: bool,
    /// The server has all that this phone did to the job.
    pub level: bool,
}

/// One thing to do.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Step {
    /// To the server, which may have some of it.
    Bring(JobId, Picture),
    Fetch(Picture),
    /// From this phone: nobody needs it.
    Drop(PictureHash),
    /// From this phone for its room, if the server has it still.
    Free(JobId, Picture),
    /// The server said once that it has it: does it still?
    Check(JobId, Picture),
}

/// What is known of this phone.
pub struct Here<'a> {
    /// The pictures on it, each with whether the server has it too.
    pub held: &'a BTreeMap<PictureHash, bool>,
    /// Pictures that somebody looked at.
    pub asked: &'a BTreeSet<PictureHash>,
    /// Pictures that the server was asked about since it is connected.
    pub checked: &'a BTreeSet<PictureHash>,
    /// Bytes that the browser would still keep; `None` when it does not say.
    pub room: Option<u64>,
    /// The pictures of every job that is kept on it are known: what no job names nobody needs.
    pub whole: bool,
    /// It may change jobs, and bring pictures.
    pub writes: bool,
    pub now: Timestamp,
}

/// The pictures that a job names.
pub fn named(job: &Job, level: bool) -> impl Iterator<Item = Named> {
    job.photos.iter().flat_map(move |it| {
        let (taken, shown) = (it.stamp.at, !it.withdrawn);
        let named = move |picture, thumbnail| Named { job: job.id, picture, thumbnail, taken, shown, level };
        [named(it.thumbnail, true), named(it.picture, false)]
    })
}

/// Thumbnails first, and what leaves before what comes.
pub fn steps(all: &[Named], here: &Here<'_>) -> Vec<Step> {
    // The same picture may be named twice.
    let shown: BTreeMap<PictureHash, &Named> =
        all.iter().filter(|it| it.shown).map(|it| (it.picture.hash, it)).collect();
    let mut drop = off(all, &shown, here);
    let (mut bring, mut fetch, mut check) = (Vec::new(), Vec::new(), None);
    let mut missing = here.room.map_or(0, |it| LITTLE_ROOM.saturating_sub(it));
    let mut spare = here.room.map_or(0, |it| it.saturating_sub(ENOUGH_ROOM));
    let mut in_turn: Vec<&Named> = shown.into_values().collect();
    in_turn.sort_by_key(|it| (!it.thumbnail, it.taken, it.picture.hash));
    for it in in_turn {
        let (hash, bytes) = (it.picture.hash, u64::from(it.picture.bytes));
        let wanted = it.thumbnail || here.asked.contains(&hash);
        match here.held.get(&hash) {
            Some(true) if !wanted && missing > 0 => {
                missing = missing.saturating_sub(bytes);
                drop.push(Step::Free(it.job, it.picture));
            }
            Some(true) if check.is_none() && !here.checked.contains(&hash) => {
                check = Some(Step::Check(it.job, it.picture));
            }
            Some(false) if it.level && here.writes => bring.push(Step::Bring(it.job, it.picture)),
            None if wanted => fetch.push(Step::Fetch(it.picture)),
            None if bytes <= spare => {
                spare -= bytes;
                fetch.push(Step::Fetch(it.picture));
            }
            _ => {}
        }
    }
    drop.into_iter().chain(bring).chain(fetch).chain(check).collect()
}

/// What nobody needs: of photos that were taken off, or of jobs that went.
fn off(all: &[Named], shown: &BTreeMap<PictureHash, &Named>, here: &Here<'_>) -> Vec<Step> {
    if !here.whole {
        return Vec::new();
    }
    let mut needless = BTreeSet::new();
    let mut named = BTreeSet::new();
    for it in all {
        named.insert(it.picture.hash);
        // What the server does not have may still come back: taken off before it ever left the phone.
        let late = here.now.0 - it.taken.0 > KEPT_OFF;
        let gone = here.held.get(&it.picture.hash).is_some_and(|there| *there || late);
        if gone && it.level && !shown.contains_key(&it.picture.hash) {
            needless.insert(it.picture.hash);
        }
    }
    let unnamed = here.held.iter().filter(|(hash, there)| **there && !named.contains(hash));
    needless.extend(unnamed.map(|(hash, _)| *hash));
    needless.into_iter().map(Step::Drop).collect()
}

/// How many photos of a job are only on this phone, in whole or in part.
pub fn waiting(job: &Job, held: &BTreeMap<PictureHash, bool>) -> usize {
    job.photos_in_force().filter(|it| only_here(it, held)).count()
}

fn only_here(photo: &Photo, held: &BTreeMap<PictureHash, bool>) -> bool {
    photo.pictures().iter().any(|it| held.get(&it.hash) == Some(&false))
}

/// Where a job's photos are, as far as this phone knows. Of what it does not have it does not know whether the server has it.
pub fn whereabouts(job: &Job, held: &BTreeMap<PictureHash, bool>) -> String {
    let there = |it: &Photo| it.pictures().iter().all(|it| held.get(&it.hash) == Some(&true));
    let (all, here) = (job.photos_in_force().count(), waiting(job, held));
    let there = job.photos_in_force().filter(|it| there(it)).count();
    if there == all {
        return "are on the server".to_owned();
    }
    let told = [(here, "only here"), (there, "on the server"), (all - here - there, "not on this phone yet")];
    let told = told.iter().filter(|(count, _)| *count > 0);
    told.map(|(count, place)| format!("{} {place}", photos(*count))).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use shared_model::ids::{DeviceId, PhotoId};
    use shared_model::job::{Stamp, Subject};
    use uuid::Uuid;

    use super::*;
    use crate::places::fixture;

    const JOB: JobId = JobId(Uuid::from_u128(1));
    const PLENTY: Option<u64> = Some(1 << 30);
    const MIB: u64 = 1 << 20;

    fn hash(n: u8) -> PictureHash {
        PictureHash([n; 32])
    }

    /// A picture of 1 MiB.
    fn picture(n: u8) -> Picture {
        Picture { hash: hash(n), bytes: 1 << 20, width: 9, height: 9 }
    }

    fn named(n: u8, thumbnail: bool) -> Named {
        Named { job: JOB, picture: picture(n), thumbnail, taken: Timestamp(0), shown: true, level: true }
    }

    struct Phone {
        held: BTreeMap<PictureHash, bool>,
        asked: BTreeSet<PictureHash>,
        checked: BTreeSet<PictureHash>,
        room: Option<u64>,
        now: i64,
    }

    impl Phone {
        fn with(held: &[(u8, bool)], room: Option<u64>) -> Self {
            let held: BTreeMap<_, _> = held.iter().map(|(n, there)| (hash(*n), *there)).collect();
            Self { checked: held.keys().copied().collect(), held, asked: BTreeSet::new(), room, now: 0 }
        }

        fn asked(mut self, n: u8) -> Self {
            self.asked.insert(hash(n));
            self
        }

        fn here(&self) -> Here<'_> {
            let Self { held, asked, checked, room, now } = self;
            Here { held, asked, checked, room: *room, whole: true, writes: true, now: Timestamp(*now) }
        }

        fn plans(&self, all: &[Named]) -> Vec<Step> {
            steps(all, &self.here())
        }
    }

    fn bring(n: u8) -> Step {
        Step::Bring(JOB, picture(n))
    }

    fn fetch(n: u8) -> Step {
        Step::Fetch(picture(n))
    }

    #[test]
    fn what_the_server_lacks_is_brought_once_it_knows_of_it_thumbnails_first() {
        let (large, small) = (named(1, false), named(2, true));
        assert_eq!(Phone::with(&[(1, false), (2, false)], PLENTY).plans(&[large, small]), [bring(2), bring(1)]);
        assert_eq!(Phone::with(&[(1, true), (2, false)], PLENTY).plans(&[large, small]), [bring(2)]);
        assert_eq!(Phone::with(&[(1, false)], PLENTY).plans(&[Named { level: false, ..large }]), []);
        // The same picture twice is brought once.
        assert_eq!(Phone::with(&[(1, false)], PLENTY).plans(&[large, large]), [bring(1)]);
        let viewer = Phone::with(&[(1, false)], PLENTY);
        assert_eq!(steps(&[large], &Here { writes: false, ..viewer.here() }), []);
    }

    #[test]
    fn thumbnails_come_always_and_pictures_when_there_is_room_or_somebody_looks() {
        let all = [named(1, false), named(2, true)];
        let with = |room| Phone::with(&[], room);
        assert_eq!(with(PLENTY).plans(&all), [fetch(2), fetch(1)]);
        assert_eq!(with(Some(100 * MIB)).plans(&all), [fetch(2)]);
        assert_eq!(with(None).plans(&all), [fetch(2)]);
        assert_eq!(with(Some(100 * MIB)).asked(1).plans(&all), [fetch(2), fetch(1)]);
        assert_eq!(Phone::with(&[(2, true)], None).asked(1).plans(&all), [fetch(1)]);
    }

    #[test]
    fn a_phone_with_little_room_keeps_thumbnails_and_what_is_nowhere_else() {
        let all = [named(1, false), named(2, true), named(3, false)];
        let held = [(1, true), (2, true), (3, false)];
        let little = Some(199 * MIB);
        assert_eq!(Phone::with(&held, little).plans(&all), [Step::Free(JOB, picture(1)), bring(3)]);
        assert_eq!(Phone::with(&held, little).asked(1).plans(&all[..2]), [], "somebody looks at it");
        assert_eq!(Phone::with(&held, None).plans(&all[..2]), []);
    }

    /// No more goes than must, and what went does not come back: round after round ends with nothing to do.
    #[test]
    fn a_phone_with_little_room_comes_to_rest() {
        let all: Vec<Named> = (0..200).map(|n| named(n, false)).collect();
        for start in [0, 150, 199, 200, 250, 301, 400] {
            let mut phone = Phone::with(&[], Some(start * MIB));
            phone.held = all.iter().take(100).map(|it| (it.picture.hash, true)).collect();
            phone.checked = all.iter().map(|it| it.picture.hash).collect();
            let mut moved = 0;
            for _ in 0..10 {
                for step in phone.plans(&all) {
                    let room = phone.room.unwrap_or_default();
                    moved += 1;
                    match step {
                        Step::Free(_, it) => {
                            phone.held.remove(&it.hash);
                            phone.room = Some(room + u64::from(it.bytes));
                        }
                        Step::Fetch(it) => {
                            phone.held.insert(it.hash, true);
                            phone.room = Some(room - u64::from(it.bytes));
                        }
                        other => panic!("{other:?}"),
                    }
                }
            }
            let needed = match start {
                0..200 => (200 - start).min(100),
                _ => start.saturating_sub(300).min(100),
            };
            assert_eq!((moved, phone.plans(&all)), (needed, Vec::new()), "{start} MiB");
        }
    }

    #[test]
    fn the_server_is_asked_once_in_each_connection_whether_it_still_has_what_it_had() {
        let all = [named(1, false), named(2, true)];
        let mut phone = Phone::with(&[(1, true), (2, true)], PLENTY);
        phone.checked.clear();
        assert_eq!(phone.plans(&all), [Step::Check(JOB, picture(2))], "one at a time");
        phone.checked.insert(hash(2));
        assert_eq!(phone.plans(&all), [Step::Check(JOB, picture(1))]);
        phone.checked.insert(hash(1));
        assert_eq!(phone.plans(&all), []);
    }

    #[test]
    fn what_was_taken_off_goes_when_the_server_knows_it_and_no_other_photo_shows_it() {
        let off = Named { shown: false, ..named(1, false) };
        let held = Phone::with(&[(1, true)], PLENTY);
        assert_eq!(held.plans(&[off]), [Step::Drop(hash(1))]);
        assert_eq!(held.plans(&[Named { level: false, ..off }]), []);
        assert_eq!(held.plans(&[off, named(1, false)]), []);
        assert_eq!(Phone::with(&[], PLENTY).plans(&[off]), [], "and is not fetched");
        assert_eq!(
            Phone::with(&[(1, true), (2, false)], PLENTY).plans(&[]),
            [Step::Drop(hash(1))],
            "of a job that went"
        );
        assert_eq!(steps(&[off], &Here { whole: false, ..held.here() }), [], "a job that is not read yet may show it");
        let mut only_here = Phone::with(&[(1, false)], PLENTY);
        assert_eq!(only_here.plans(&[off]), [], "it is nowhere else: an undo must find it");
        only_here.now = KEPT_OFF + 1;
        assert_eq!(only_here.plans(&[off]), [Step::Drop(hash(1))], "for a month");
        assert_eq!(only_here.plans(&[named(1, false)]), [bring(1)]);
    }

    #[test]
    fn a_photo_is_on_the_server_only_if_the_server_said_so() {
        let stamp = Stamp { by: DeviceId(Uuid::nil()), at: Timestamp(0) };
        let photo = |n: u8| Photo {
            id: PhotoId(Uuid::from_u128(n.into())),
            of: Subject::Job,
            picture: picture(n),
            thumbnail: picture(n + 100),
            caption: String::new(),
            stamp,
            withdrawn: n == 9,
        };
        let job = Job { photos: [1, 2, 3, 9].map(photo).to_vec(), ..fixture::job() };
        let told = |held: &[(u8, bool)]| {
            let held = held.iter().map(|(n, there)| (hash(*n), *there)).collect();
            (whereabouts(&job, &held), waiting(&job, &held))
        };
        let all = [(1, true), (101, true), (2, true), (102, true), (3, true), (103, true)];
        assert_eq!(told(&all), ("are on the server".to_owned(), 0));
        assert_eq!(told(&[]), ("3 photos not on this phone yet".to_owned(), 0));
        assert_eq!(told(&all[1..]), ("2 photos on the server, 1 photo not on this phone yet".to_owned(), 0));
        let mixed = [(1, true), (101, true), (2, true), (102, false)];
        assert_eq!(
            told(&mixed),
            ("1 photo only here, 1 photo on the server, 1 photo not on this phone yet".to_owned(), 1)
        );
    }
}
