//! Pieces that do not need all of their rectangle, on a strip.

use napline_tests::packing;
use proptest::prelude::*;
use shared_model::length::Length;
use shared_model::nest::{Budget, Column, NestError, RollPlan, SteppedPiece, nest_stepped};

fn piece(id: &str, columns: &[(i64, i64, i64)]) -> SteppedPiece {
    let column =
        |&(width, from, to): &(i64, i64, i64)| Column { width: Length(width), from: Length(from), to: Length(to) };
    SteppedPiece { id: id.to_owned(), columns: columns.iter().map(column).collect(), phase: None }
}

/// Its columns where the plan has them: left, right, start and end.
fn rects(it: &SteppedPiece, plan: &RollPlan) -> Vec<[i64; 4]> {
    let at = plan.placements.iter().find(|at| at.piece == it.id).unwrap();
    let mut x = at.x.0;
    let column = |it: &Column| {
        x += it.width.0;
        [x - it.width.0, x, at.y.0 + it.from.0, at.y.0 + it.to.0]
    };
    it.columns.iter().map(column).collect()
}

/// Nothing lies on anything else or beside the strip; the length is that of the last piece, and no less than what is proven.
#[track_caller]
fn sound(pieces: &[SteppedPiece], plan: &RollPlan) {
    let all: Vec<(usize, [i64; 4])> =
        pieces.iter().enumerate().flat_map(|(n, it)| rects(it, plan).into_iter().map(move |rect| (n, rect))).collect();
    for (i, (of, [left, right, start, end])) in all.iter().enumerate() {
        assert!(*left >= 0 && *right <= plan.width.0 && *start >= 0);
        for (other, [l, r, s, e]) in &all[..i] {
            assert!(of == other || right <= l || r <= left || end <= s || e <= start, "{of} and {other} overlap");
        }
    }
    assert_eq!(plan.length.0, all.iter().map(|(_, it)| it[3]).max().unwrap_or_default());
    assert!(plan.lower_bound <= plan.length);
}

fn planned(pieces: &[SteppedPiece], width: i64, steps: u64) -> RollPlan {
    let plan = nest_stepped(pieces, Length(width), Budget::steps(steps), |_| true).unwrap();
    sound(pieces, &plan);
    plan
}

/// Two L's make a rectangle of 4 by 6, with their notches to either end.
#[test]
fn two_that_fit_into_each_other_are_one_rectangle() {
    let pieces = [piece("a", &[(2, 0, 6), (1, 0, 3)]), piece("b", &[(1, 3, 6), (1, 0, 6)])];
    let plan = planned(&pieces, 4, 10_000);
    assert_eq!((plan.length, plan.lower_bound), (Length(6), Length(6)));
}

#[test]
fn what_cannot_be_placed_is_named() {
    let wide = nest_stepped(&[piece("hall", &[(3, 0, 1), (2, 0, 2)])], Length(4), Budget::QUICK, |_| true);
    assert_eq!(wide, Err(NestError::TooWide { piece: "hall".to_owned() }));
    let empty = nest_stepped(&[piece("den", &[(0, 0, 5)])], Length(4), Budget::QUICK, |_| true);
    assert_eq!(empty, Err(NestError::Empty { piece: "den".to_owned() }));
    let far =
        nest_stepped(&[piece("far", &[(Length::MOST.0, 0, Length::MOST.0)])], Length::MOST, Budget::QUICK, |_| true);
    assert_eq!(far, Err(NestError::TooLong { piece: "far".to_owned() }));
    assert_eq!(planned(&[], 4, 100).length, Length::ZERO);
}

#[test]
fn the_same_pieces_give_the_same_plan() {
    let (ways, _) = packing::carpets()[3].ways();
    assert_eq!(planned(&ways[0], 315, 200_000), planned(&ways[0], 315, 200_000));
}

/// Houses of the MiniZinc benchmarks (`data/packing/SOURCE.md`): no bound is above a plan that somebody has found, and the plans are at most an
/// eighth longer than the best known of any way to cut the stairs.
#[test]
fn published_houses_are_planned_soundly() {
    for house in packing::carpets() {
        let (ways, single) = house.ways();
        let bound = planned(&single, house.roll_width, 200_000).lower_bound.0;
        assert!(bound <= house.best_known, "{}: {bound}", house.name);
        let plans = ways.iter().map(|it| planned(it, house.roll_width, 200_000).length.0);
        let best = plans.min().unwrap();
        assert!(best >= house.lower_bound && best * 8 <= house.best_known * 9, "{}: {best}", house.name);
    }
}

proptest! {
    /// Cut from rectangles of the strip's width along stairs: all of them together are as long as these.
    #[test]
    fn no_bound_is_above_a_planted_plan(
        cuts in prop::collection::vec((2_i64..30, prop::collection::vec((1_i64..9, 0_i64..1_000), 1..5)), 1..6),
    ) {
        let width: i64 = 40;
        let mut pieces = Vec::new();
        for (n, (length, stairs)) in cuts.iter().enumerate() {
            // Each stair rises or stays, so that the parts of a piece meet.
            let mut at: Vec<i64> = stairs.iter().map(|it| 1 + it.1 % (length - 1).max(1)).collect();
            at.sort_unstable();
            let mut widths: Vec<i64> = stairs.iter().map(|it| it.0).collect();
            widths[0] += width - widths.iter().sum::<i64>();
            let near: Vec<_> = widths.iter().zip(&at).map(|(width, at)| (*width, 0, *at)).collect();
            let far: Vec<_> = widths.iter().zip(&at).map(|(width, at)| (*width, *at, *length)).collect();
            let first = at[0];
            let shifted: Vec<_> = far.iter().map(|(width, from, to)| (*width, from - first, to - first)).collect();
            pieces.push(piece(&format!("near {n}"), &near));
            pieces.push(piece(&format!("far {n}"), &shifted));
        }
        let whole: i64 = cuts.iter().map(|it| it.0).sum();
        let plan = planned(&pieces, width, 20_000);
        prop_assert!(plan.lower_bound.0 <= whole, "{} is said to be the least, but {whole} will do", plan.lower_bound.0);
    }
}
