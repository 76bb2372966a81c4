//! Pieces that were cut from a strip fit on it: no bound may be longer than that strip, however it was found.

use napline_tests::random::Random;
use proptest::prelude::*;
use shared_model::length::Length;
use shared_model::nest::{Budget, NestPiece, Phase, nest, nest_cuttable};

/// Left, start, width and length.
type Rect = [i64; 4];

/// A strip cut into rectangles: across, along, or into a windmill of five, which no edge-to-edge cut parts.
fn cut(strip: Rect, count: usize, random: &mut Random) -> Vec<Rect> {
    let mut rects = vec![strip];
    for _ in 0..20 * count {
        if rects.len() >= count {
            break;
        }
        let at = random.below(rects.len() as u64) as usize;
        let [x, y, width, length] = rects.swap_remove(at);
        let mut between = |size: i64| 1 + random.below((size - 1).max(1) as u64) as i64;
        match between(4) {
            1 if width > 2 && length > 2 => {
                let (left, right) = (between(width - 1), 1);
                let (low, high) = (between(length - 1), 1);
                let (mid_x, mid_y) = (width - left - right, length - low - high);
                rects.extend([
                    [x, y, left + mid_x, low],
                    [x + left + mid_x, y, right, low + mid_y],
                    [x + left, y + low + mid_y, mid_x + right, high],
                    [x, y + low, left, mid_y + high],
                    [x + left, y + low, mid_x, mid_y],
                ]);
                rects.retain(|it| it[2] > 0 && it[3] > 0);
            }
            2 | 1 if width > 1 => {
                let left = between(width);
                rects.extend([[x, y, left, length], [x + left, y, width - left, length]]);
            }
            _ if length > 1 => {
                let low = between(length);
                rects.extend([[x, y, width, low], [x, y + low, width, length - low]]);
            }
            _ => rects.push([x, y, width, length]),
        }
    }
    rects
}

/// What is kept of a strip cut up, each piece with the phase at which it lay.
fn planted(width: i64, length: i64, count: usize, step: i64, seed: u64) -> Vec<NestPiece> {
    let mut random = Random(seed);
    let rects = cut([0, 0, width, length], count, &mut random);
    let kept: Vec<Rect> = rects.into_iter().filter(|_| random.below(8) > 0).collect();
    let pieces = kept.iter().enumerate().map(|(i, [_, y, width, length])| NestPiece {
        id: i.to_string(),
        width: Length(*width),
        length: Length(*length),
        phase: (step > 1).then(|| Phase { step: Length(step), offset: Length(y % step) }),
        across: None,
    });
    pieces.collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn no_bound_is_longer_than_the_strip_that_was_cut(
        (width, length, count) in (4..60_i64, 4..80_i64, 2..24_usize),
        step in prop_oneof![4 => Just(1_i64), 1 => 2..12_i64],
        seed: u64,
    ) {
        let pieces = planted(width, length, count, step, seed);
        for steps in [20_000, 400_000] {
            let plan = nest(&pieces, Length(width), Budget::steps(steps)).unwrap();
            prop_assert!(plan.lower_bound.0 <= length, "{} is more than {length}", plan.lower_bound.0);
            // A plan that must be cut edge to edge is longer at times, so its proof tries what is impossible for it only.
            let (cuttable, _) = nest_cuttable(&pieces, Length(width), Budget::steps(steps), |_| true).unwrap();
            prop_assert!(cuttable.lower_bound.0 <= length, "{} is more than {length}", cuttable.lower_bound.0);
            prop_assert!(cuttable.lower_bound <= plan.length && plan.lower_bound <= cuttable.length);
        }
    }
}
