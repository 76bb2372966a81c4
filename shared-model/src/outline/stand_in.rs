//! Lengths for walls that nobody has read yet, so that a sketch looks like the room that is meant.

use crate::job::Angle;
use crate::length::Length;

/// For each wall its stand-in, used where `read` says nothing: as long as the walls read so far on average, or 10 ft. In a
/// ring that is said to be closed, the unread walls are changed as little as can be (least squares) so that it closes, but
/// none to less than a quarter.
pub fn stand_ins(headings: &[Angle], read: &[Option<Length>], closed: bool) -> Vec<Length> {
    let usual = usual(read);
    let mut lengths = vec![usual; read.len()];
    if !closed {
        return lengths;
    }
    // The end's distance from the start, and the sum of the unread walls' directions times themselves.
    let (mut east, mut north) = (0.0, 0.0);
    let (mut ee, mut en, mut nn) = (0.0, 0.0, 0.0);
    for (heading, read) in headings.iter().zip(read) {
        let (e, n) = heading.unit();
        let length = read.unwrap_or(usual).0 as f64;
        (east, north) = (east + e * length, north + n * length);
        if read.is_none() {
            (ee, en, nn) = (ee + e * e, en + e * n, nn + n * n);
        }
    }
    let determinant = ee * nn - en * en;
    if determinant < 1e-6 {
        return lengths;
    }
    let by_east = (north * en - east * nn) / determinant;
    let by_north = (east * en - north * ee) / determinant;
    for (length, heading) in lengths.iter_mut().zip(headings) {
        let (e, n) = heading.unit();
        let fitted = usual.0 as f64 + e * by_east + n * by_north;
        *length = Length(fitted.round() as i64).max(usual / 4);
    }
    lengths
}

fn usual(read: &[Option<Length>]) -> Length {
    let known: Vec<Length> = read.iter().flatten().copied().collect();
    match i64::try_from(known.len()) {
        Ok(count @ 1..) => known.into_iter().sum::<Length>() / count,
        _ => Length::feet(10),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn degrees(headings: &[i64]) -> Vec<Angle> {
        headings.iter().map(|it| Angle::degrees(*it)).collect()
    }

    /// Where a ring ends when it starts at the origin, in inches.
    fn end(headings: &[Angle], lengths: &[Length]) -> (i64, i64) {
        let sum = headings.iter().zip(lengths).fold((0.0, 0.0), |(east, north), (heading, length)| {
            let (e, n) = heading.unit();
            (east + e * length.0 as f64, north + n * length.0 as f64)
        });
        ((sum.0 / Length::INCH.0 as f64).round() as i64, (sum.1 / Length::INCH.0 as f64).round() as i64)
    }

    #[test]
    fn an_unread_l_looks_like_an_l() {
        let l = degrees(&[0, 90, 180, 90, 180, 270]);
        let lengths = stand_ins(&l, &[None; 6], true);
        assert_eq!(end(&l, &lengths), (0, 0));
        let inches: Vec<i64> = lengths.iter().map(|it| (it.0 + Length::INCH.0 / 2) / Length::INCH.0).collect();
        assert_eq!(inches, [160, 80, 80, 80, 80, 160], "10 ft is split two to one");
    }

    #[test]
    fn a_bay_closes_and_what_is_read_is_kept() {
        let bay = degrees(&[0, 90, 45, 90, 135, 90, 180, 270]);
        let mut read = [None; 8];
        read[0] = Some(Length::feet(12));
        let mut lengths = stand_ins(&bay, &read, true);
        lengths[0] = Length::feet(12);
        assert_eq!(end(&bay, &lengths), (0, 0));
        assert!(lengths.iter().all(|it| *it >= Length::feet(3)));
    }

    #[test]
    fn an_open_row_of_walls_has_equal_ones() {
        let read = [Some(Length::feet(8)), Some(Length::feet(12)), None];
        assert_eq!(stand_ins(&degrees(&[0, 90, 180]), &read, false), [Length::feet(10); 3]);
    }
}
