//! What is to be done with the pictures on this phone. Touches nothing: what is known goes in, steps come out.

use std::collections::{BTreeMap, BTreeSet};

use shared_model::ids::JobId;
use shared_model::job::{Job, Picture, PictureHash};

/// Less room than this on the phone, in bytes, and only thumbnails stay.
const LITTLE_ROOM: u64 = 200 << 20;

/// A picture that a job on this phone names.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Named {
    pub job: JobId,
    pub picture: Picture,
    pub thumbnail: bool,
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
    Fetch(PictureHash),
    /// From this phone.
    Drop(PictureHash),
}

/// What is known of this phone.
pub struct Here<'a> {
    /// The pictures on it, each with whether the server has it too.
    pub held: &'a BTreeMap<PictureHash, bool>,
    /// Pictures that somebody looked at.
    pub asked: &'a BTreeSet<PictureHash>,
    /// Bytes that the browser would still keep; `None` when it does not say.
    pub room: Option<u64>,
    /// Every job that is kept on it is in memory: what no job names nobody needs.
    pub whole: bool,
    /// It may change jobs, and bring pictures.
    pub writes: bool,
}

/// The pictures that a job names.
pub fn named(job: &Job, level: bool) -> impl Iterator<Item = Named> {
    job.photos.iter().flat_map(move |it| {
        let named = move |picture, thumbnail| Named { job: job.id, picture, thumbnail, shown: !it.withdrawn, level };
        [named(it.thumbnail, true), named(it.picture, false)]
    })
}

/// Thumbnails first, and what leaves before what comes.
pub fn steps(all: &[Named], here: &Here<'_>) -> Vec<Step> {
    let shown: BTreeSet<PictureHash> = all.iter().filter(|it| it.shown).map(|it| it.picture.hash).collect();
    let little = here.room.is_some_and(|it| it < LITTLE_ROOM);
    let there = |hash: PictureHash| here.held.get(&hash).copied();
    let (mut bring, mut fetch, mut drop) = (Vec::new(), Vec::new(), BTreeSet::new());
    for it in all {
        let hash = it.picture.hash;
        // What the server does not have may still come back: taken off before it ever left the phone.
        let off = !shown.contains(&hash) && here.whole && it.level;
        match there(hash) {
            Some(true) if off || (little && !it.thumbnail && !here.asked.contains(&hash)) => {
                drop.insert(hash);
            }
            Some(false) if it.shown && it.level && here.writes => {
                bring.push((!it.thumbnail, Step::Bring(it.job, it.picture)));
            }
            None if it.shown && (it.thumbnail || here.asked.contains(&hash) || here.room.is_some() && !little) => {
                fetch.push((!it.thumbnail, Step::Fetch(hash)));
            }
            _ => {}
        }
    }
    // Their job was taken off this phone.
    let named: BTreeSet<PictureHash> = all.iter().map(|it| it.picture.hash).collect();
    let unnamed = here.held.iter().filter(|(hash, there)| here.whole && **there && !named.contains(hash));
    drop.extend(unnamed.map(|(hash, _)| *hash));
    bring.sort_by_key(|(late, _)| *late);
    fetch.sort_by_key(|(late, _)| *late);
    let steps = drop.into_iter().map(Step::Drop).chain(bring.into_iter().chain(fetch).map(|(_, step)| step));
    let mut once = Vec::new();
    for step in steps {
        if !once.contains(&step) {
            once.push(step);
        }
    }
    once
}

/// How many photos of a job are only on this phone, in whole or in part.
pub fn waiting(job: &Job, held: &BTreeMap<PictureHash, bool>) -> usize {
    let only_here = |it: &Picture| held.get(&it.hash) == Some(&false);
    job.photos_in_force().filter(|it| it.pictures().iter().any(only_here)).count()
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;

    const JOB: JobId = JobId(Uuid::from_u128(1));
    const PLENTY: Option<u64> = Some(1 << 30);

    fn hash(n: u8) -> PictureHash {
        PictureHash([n; 32])
    }

    fn named(n: u8, thumbnail: bool) -> Named {
        let picture = Picture { hash: hash(n), bytes: 9, width: 9, height: 9 };
        Named { job: JOB, picture, thumbnail, shown: true, level: true }
    }

    fn planned(all: &[Named], held: &[(u8, bool)], asked: &[u8], room: Option<u64>) -> Vec<Step> {
        let held = held.iter().map(|(n, there)| (hash(*n), *there)).collect();
        let asked = asked.iter().map(|n| hash(*n)).collect();
        steps(all, &Here { held: &held, asked: &asked, room, whole: true, writes: true })
    }

    #[test]
    fn what_the_server_lacks_is_brought_once_it_knows_of_it_thumbnails_first() {
        let (large, small) = (named(1, false), named(2, true));
        let bring = |it: &Named| Step::Bring(JOB, it.picture);
        assert_eq!(planned(&[large, small], &[(1, false), (2, false)], &[], PLENTY), [bring(&small), bring(&large)]);
        assert_eq!(planned(&[large, small], &[(1, true), (2, false)], &[], PLENTY), [bring(&small)]);
        let untold = Named { level: false, ..large };
        assert_eq!(planned(&[untold], &[(1, false)], &[], PLENTY), []);
        // The same picture twice is brought once.
        assert_eq!(planned(&[large, large], &[(1, false)], &[], PLENTY), [bring(&large)]);
    }

    #[test]
    fn thumbnails_come_always_and_pictures_when_there_is_room_or_somebody_looks() {
        let all = [named(1, false), named(2, true)];
        let (large, small) = (Step::Fetch(hash(1)), Step::Fetch(hash(2)));
        assert_eq!(planned(&all, &[], &[], PLENTY), [small, large]);
        assert_eq!(planned(&all, &[], &[], Some(100 << 20)), [small]);
        assert_eq!(planned(&all, &[], &[], None), [small]);
        assert_eq!(planned(&all, &[], &[1], Some(100 << 20)), [small, large]);
        assert_eq!(planned(&all, &[(2, true)], &[1], None), [large]);
    }

    #[test]
    fn a_phone_with_little_room_keeps_thumbnails_and_what_is_nowhere_else() {
        let all = [named(1, false), named(2, true), named(3, false)];
        let held = [(1, true), (2, true), (3, false)];
        let little = Some(199 << 20);
        assert_eq!(planned(&all, &held, &[], little), [Step::Drop(hash(1)), Step::Bring(JOB, all[2].picture)]);
        assert_eq!(planned(&all[..2], &held, &[1], little), [], "somebody looks at it");
        assert_eq!(planned(&all[..2], &held, &[], None), []);
    }

    #[test]
    fn what_was_taken_off_goes_when_the_server_knows_it_and_no_other_photo_shows_it() {
        let off = Named { shown: false, ..named(1, false) };
        assert_eq!(planned(&[off], &[(1, true)], &[], PLENTY), [Step::Drop(hash(1))]);
        assert_eq!(planned(&[off], &[(1, false)], &[], PLENTY), [], "it is nowhere else: an undo must find it");
        assert_eq!(planned(&[Named { level: false, ..off }], &[(1, true)], &[], PLENTY), []);
        assert_eq!(planned(&[off, named(1, false)], &[(1, true)], &[], PLENTY), []);
        assert_eq!(planned(&[off], &[], &[], PLENTY), [], "and is not fetched");
        assert_eq!(planned(&[], &[(1, true), (2, false)], &[], PLENTY), [Step::Drop(hash(1))], "of a job that went");
        let (held, asked) = (BTreeMap::from([(hash(1), true)]), BTreeSet::new());
        let here = Here { held: &held, asked: &asked, room: PLENTY, whole: false, writes: true };
        assert_eq!(steps(&[off], &here), [], "a job that is not read yet may show it");
        assert_eq!(
            steps(&[named(2, true)], &Here { held: &BTreeMap::from([(hash(2), false)]), writes: false, ..here }),
            []
        );
    }
}
