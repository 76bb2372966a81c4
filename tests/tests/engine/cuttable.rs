//! Plans whose every cut runs from edge to edge.

use napline_tests::cutter::cut_up;
use napline_tests::packing;
use proptest::prelude::*;
use shared_model::length::Length;
use shared_model::nest::{Budget, CutList, NestPiece, Phase, RollPlan, cuts, nest, nest_cuttable};

fn piece(width: i64, length: i64) -> NestPiece {
    let id = format!("{width} × {length}");
    NestPiece { id, width: Length(width), length: Length(length), phase: None, across: None }
}

fn carried_out(pieces: &[NestPiece], plan: &RollPlan, list: &CutList) -> Result<(), String> {
    cut_up(plan.width, pieces.iter().map(|it| (it.width, it.length)), &plan.placements, list)
}

/// Hifi's 25 strips (Comput. Oper. Res. 25, 1998), with the lengths published for guillotine plans: `data/packing/SOURCE.md`. Where the
/// shortest plan of all is known, no plan may be shorter.
#[test]
fn published_lengths_are_reached() {
    let mut reached = 0;
    for it in packing::cuttable() {
        let pieces = it.pieces();
        let (plan, list) = nest_cuttable(&pieces, Length(it.strip_width), Budget::steps(4_000_000), |_| true).unwrap();
        carried_out(&pieces, &plan, &list).unwrap();
        assert!(it.optimum.is_none_or(|optimum| plan.length.0 >= optimum), "{} is too short", it.name);
        assert!(it.optimum.is_none_or(|optimum| plan.lower_bound.0 <= optimum), "{}: no bound", it.name);
        reached += usize::from(it.guillotine_reference.is_some_and(|it| plan.length.0 <= it));
    }
    assert!(reached >= 21, "only {reached} of 25");
}

/// Five rectangles around one another, as the blades of a windmill: the smallest plan that no cut from edge to edge parts (Gilmore and Gomory,
/// Oper. Res. 13, 1965, exclude it by their definition).
#[test]
fn a_windmill_is_no_plan_to_cut_edge_to_edge() {
    let pieces = [piece(3, 2), piece(2, 3), piece(3, 2), piece(2, 3), piece(1, 1)];
    let freehand = nest(&pieces, Length(5), Budget::steps(1_000_000)).unwrap();
    assert_eq!(freehand.length, Length(5));
    assert_eq!(cuts(&pieces, &freehand), None);
    let (plan, list) = nest_cuttable(&pieces, Length(5), Budget::steps(100_000), |_| true).unwrap();
    carried_out(&pieces, &plan, &list).unwrap();
    assert_eq!((plan.length, plan.lower_bound), (Length(6), Length(5)));
}

/// The roll is cut across before anything is slit, and what is cut off is cut up before the next is.
#[test]
fn cuts_are_told_in_the_order_of_the_work() {
    let pieces = [piece(12, 5), piece(7, 4), piece(5, 4)];
    let (plan, list) = nest_cuttable(&pieces, Length(12), Budget::steps(1_000), |_| true).unwrap();
    assert_eq!(plan.length, Length(9));
    carried_out(&pieces, &plan, &list).unwrap();
    assert_eq!(list.cuts.len(), 3, "{:?}", list.cuts);
    assert_eq!(list.offcuts, []);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn every_piece_is_cut_free(
        sizes in prop::collection::vec((1..=400_i64, 1..=600_i64, 0..3_i64), 0..40),
        steps in 0..100_000_u64,
    ) {
        let pieces: Vec<NestPiece> = sizes.iter().map(|&(width, length, pattern)| match pattern {
            0 => piece(width, length),
            _ => NestPiece {
                phase: Some(Phase { step: Length(45), offset: Length(length % 45) }),
                across: (pattern == 2).then_some(Phase { step: Length(30), offset: Length(0) }),
                ..piece(width.min(360), length)
            },
        }).collect();
        let (plan, list) = nest_cuttable(&pieces, Length(400), Budget::steps(steps), |_| true).unwrap();
        prop_assert_eq!(carried_out(&pieces, &plan, &list), Ok(()));
        let kept = |it: Option<Phase>, at: Length| it.is_none_or(|it| (at - it.offset).0.rem_euclid(it.step.0) == 0);
        for (piece, at) in pieces.iter().zip(&plan.placements) {
            prop_assert!(kept(piece.phase, at.y) && kept(piece.across, at.x), "{:?} at {:?}", piece, at);
        }
    }
}
