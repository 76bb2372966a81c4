//! `nest` against exhaustive search, published optima and its own claims.

use napline_tests::exhaustive::shortest;
use napline_tests::packing;
use proptest::prelude::*;
use shared_model::length::Length;
use shared_model::nest::file::Cutting;
use shared_model::nest::{Budget, NestError, NestPiece, Phase, RollPlan, file, nest};

fn piece(width: i64, length: i64) -> NestPiece {
    let id = format!("{width} × {length}");
    NestPiece { id, width: Length(width), length: Length(length), phase: None, across: None }
}

fn phased(width: i64, length: i64, step: i64, offset: i64) -> NestPiece {
    let phase = Some(Phase { step: Length(step), offset: Length(offset) });
    NestPiece { phase, ..piece(width, length) }
}

/// No two overlap, all lie within the width and the length, every phase is kept, and the length is used.
#[track_caller]
fn assert_valid(pieces: &[NestPiece], plan: &RollPlan) {
    assert_eq!(pieces.len(), plan.placements.len());
    let on = |it: &Option<Phase>, at: Length| it.is_none_or(|it| (at - it.offset).0.rem_euclid(it.step.0) == 0);
    let laid: Vec<_> = pieces.iter().zip(&plan.placements).collect();
    for (i, (piece, at)) in laid.iter().enumerate() {
        assert_eq!(piece.id, at.piece);
        assert!(at.x.0 >= 0 && at.x + piece.width <= plan.width, "{piece:?} at {at:?}");
        assert!(at.y.0 >= 0 && at.y + piece.length <= plan.length, "{piece:?} at {at:?}");
        assert!(on(&piece.phase, at.y) && on(&piece.across, at.x), "{piece:?} at {at:?}");
        for (other, there) in &laid[..i] {
            let beside = at.x + piece.width <= there.x || there.x + other.width <= at.x;
            let behind = at.y + piece.length <= there.y || there.y + other.length <= at.y;
            assert!(beside || behind, "{piece:?} at {at:?} overlaps {other:?} at {there:?}");
        }
    }
    let end = laid.iter().map(|(piece, at)| at.y + piece.length).max().unwrap_or(Length::ZERO);
    assert_eq!(end, plan.length);
    assert!(plan.lower_bound <= plan.length);
}

const WIDTH: i64 = 6;

fn few_plain() -> impl Strategy<Value = Vec<NestPiece>> {
    prop::collection::vec((1..=WIDTH, 1..=5_i64).prop_map(|(width, length)| piece(width, length)), 0..=5)
}

fn few_phased() -> impl Strategy<Value = Vec<NestPiece>> {
    let one = |step: i64| (1..=WIDTH, 1..=4_i64, 0..step).prop_map(move |(w, l, offset)| phased(w, l, step, offset));
    (2..=4_i64).prop_flat_map(move |step| prop::collection::vec(one(step), 1..=4))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn few_pieces_are_placed_as_short_as_can_be(pieces in few_plain()) {
        let plan = nest(&pieces, Length(WIDTH), Budget::steps(1_000_000)).unwrap();
        assert_valid(&pieces, &plan);
        let shortest = shortest(&pieces, WIDTH as usize);
        prop_assert_eq!(plan.length.0, shortest);
        prop_assert!(plan.lower_bound.0 <= shortest, "the bound {} is no bound", plan.lower_bound.0);
    }

    #[test]
    fn a_pattern_is_kept_and_what_is_called_optimal_is(pieces in few_phased()) {
        let plan = nest(&pieces, Length(WIDTH), Budget::steps(1_000_000)).unwrap();
        assert_valid(&pieces, &plan);
        let shortest = shortest(&pieces, WIDTH as usize);
        prop_assert!(plan.length.0 >= shortest);
        prop_assert!(plan.lower_bound.0 <= shortest, "the bound {} is no bound", plan.lower_bound.0);
        prop_assert!(!plan.optimal() || plan.length.0 == shortest);
    }

    #[test]
    fn many_pieces_make_a_valid_plan(
        sizes in prop::collection::vec((1..=1000_i64, 1..=1000_i64, 0..3_i64), 0..120),
        steps in 0..200_000_u64,
    ) {
        let pieces: Vec<NestPiece> = sizes.iter().map(|&(width, length, pattern)| match pattern {
            0 => piece(width, length),
            1 => phased(width, length, 45, length % 45),
            _ => NestPiece {
                across: Some(Phase { step: Length(30), offset: Length(length % 30) }),
                ..phased(width.min(900), length, 64, 0)
            },
        }).collect();
        let plan = nest(&pieces, Length(1000), Budget::steps(steps)).unwrap();
        assert_valid(&pieces, &plan);
    }
}

/// Sources: `data/packing/SOURCE.md`. A plan shorter than a published optimum, or a bound above it, would be wrong.
#[test]
fn published_instances_are_neither_beaten_nor_claimed_wrongly() {
    let (mut hits, mut proven) = (0, 0);
    for (set, instances) in packing::sets() {
        let (mut gap, mut count) = (0.0, 0.0);
        for it in instances {
            let pieces = it.pieces();
            let plan = nest(&pieces, Length(it.strip_width), Budget::steps(1_000_000)).unwrap();
            assert_valid(&pieces, &plan);
            if let Some(optimum) = it.optimum {
                assert!(plan.length.0 >= optimum, "{}: {} is shorter than possible", it.name, plan.length.0);
                assert!(plan.lower_bound.0 <= optimum, "{}: bound {}", it.name, plan.lower_bound.0);
            }
            hits += usize::from(it.optimum == Some(plan.length.0));
            proven += usize::from(plan.optimal());
            gap += plan.length.0 as f64 / it.reference() as f64 - 1.0;
            count += 1.0;
        }
        assert!(gap / count < 0.05, "{set}: mean gap {:.3}", gap / count);
    }
    assert!(hits >= 70, "only {hits} of the published optima were reached");
    assert!(proven >= 70, "only {proven} of the plans were proven");
}

/// *Estimating and Costing for Interior Designers*, 2nd ed., Bloomsbury, ISBN 9781501361050: a border 21 in wide around a
/// 15 × 10 ft rug takes four cuts of 1.75 ft and one shared cut for the fills, 8.75 ft of 12 ft goods; an inner border of
/// 6 in takes 2 ft in four cuts.
#[test]
fn border_fills_share_one_cut() {
    let border = |cut: Length, sides: &[i64]| {
        let pieces: Vec<NestPiece> =
            sizes(sides).into_iter().map(|width| NestPiece { length: cut, ..piece(width.0, 1) }).collect();
        nest(&pieces, Length::feet(12), Budget::steps(1_000_000)).unwrap()
    };
    fn sizes(feet: &[i64]) -> Vec<Length> {
        feet.iter().map(|it| Length::feet(*it)).collect()
    }
    let outer = border(Length::inches(21), &[12, 3, 12, 3, 10, 10]);
    assert_eq!(outer.length, Length::inches(105));
    assert!(outer.optimal());
    let inner = border(Length::inches(6), &[12, 12, 9, 9]);
    assert_eq!(inner.length, Length::feet(2));
    assert!(inner.optimal());
}

/// Carpeting stairs in *Renovation*, 3rd ed.: a 36 in stair, tucked 1 1/4 in at each side, gives three runs from a 12 ft
/// width, and no fourth.
#[test]
fn three_stair_runs_lie_side_by_side() {
    let run = NestPiece { width: Length::sixty_fourths(64 * 77 / 2), ..piece(1, 1_000) };
    let plan = |runs: usize| nest(&vec![run.clone(); runs], Length::feet(12), Budget::steps(100_000)).unwrap();
    assert_eq!(plan(3).length, Length(1_000));
    assert_eq!(plan(4).length, Length(2_000));
    assert!(plan(4).optimal());
}

#[test]
fn nothing_and_one_piece() {
    let nothing = nest(&[], Length::feet(12), Budget::QUICK).unwrap();
    assert_eq!((nothing.length, nothing.lower_bound, nothing.optimal()), (Length::ZERO, Length::ZERO, true));
    let alone = nest(&[piece(7, 9)], Length(7), Budget::QUICK).unwrap();
    assert_eq!((alone.length, alone.optimal()), (Length(9), true));
    // A lone piece of a pattern starts at its first place.
    let patterned = nest(&[phased(7, 9, 5, 12)], Length(7), Budget::QUICK).unwrap();
    assert_eq!((patterned.length, patterned.optimal()), (Length(11), true));
}

#[test]
fn what_cannot_be_placed_is_refused() {
    let refusal = |it: NestPiece| nest(&[piece(1, 1), it], Length(10), Budget::QUICK).unwrap_err();
    assert_eq!(refusal(piece(11, 1)), NestError::TooWide { piece: "11 × 1".into() });
    assert_eq!(refusal(piece(0, 1)), NestError::Empty { piece: "0 × 1".into() });
    assert_eq!(refusal(piece(3, -2)), NestError::Empty { piece: "3 × -2".into() });
    assert!(matches!(refusal(piece(3, i64::MAX - 2)), NestError::TooLong { .. }));
    // 8 wide fits a strip of 10, but not from 3 on.
    let across = Some(Phase { step: Length(7), offset: Length(3) });
    assert!(matches!(refusal(NestPiece { across, ..piece(8, 1) }), NestError::TooWide { .. }));
}

#[test]
fn thousands_of_pieces_end_within_the_budget() {
    let pieces: Vec<NestPiece> = (0..5_000).map(|i| piece(1 + i * 7919 % 300, 1 + i * 104_729 % 500)).collect();
    let plan = nest(&pieces, Length(1_000), Budget::steps(0)).unwrap();
    assert_valid(&pieces, &plan);
    assert!(plan.length.0 as f64 <= 1.05 * plan.lower_bound.0 as f64);
}

#[test]
fn the_same_seed_gives_the_same_plan() {
    let (_, instances) = packing::sets().into_iter().next().unwrap();
    let plan = |seed| nest(&instances[4].pieces(), Length(instances[4].strip_width), Budget { steps: 50_000, seed });
    assert_eq!(plan(7), plan(7));
}

#[test]
fn the_open_file_is_exact() {
    let json = r#"{"strip_width": 40, "pieces": [{"id": "a", "width": 10, "length": 5, "count": 3},
        {"id": "b", "width": 40.0, "length": 0.1}, {"id": "c", "width": 10, "length": 0.2}]}"#;
    let found = file::run(json, Cutting::Freehand, Budget::steps(10_000), |_| true).unwrap();
    let answer: serde_json::Value = serde_json::from_str(&found.json().unwrap()).unwrap();
    assert_eq!(answer["length"].to_string(), "5.1");
    assert_eq!(answer["lower_bound"].to_string(), "5.1");
    assert_eq!(answer["optimal"], true);
    let placements = answer["placements"].as_array().unwrap();
    let names: Vec<_> =
        placements.iter().map(|it| (it["id"].as_str().unwrap(), it["copy"].as_u64().unwrap())).collect();
    assert_eq!(names, [("a", 0), ("a", 1), ("a", 2), ("b", 0), ("c", 0)]);
    assert!(found.text().starts_with("Length 5.1, none is shorter than 5.1; proven shortest."));
}

#[test]
fn a_damaged_file_is_refused_with_its_place() {
    let refusal = |json: &str| file::run(json, Cutting::Freehand, Budget::QUICK, |_| true).unwrap_err().to_string();
    let with =
        |width: &str| format!(r#"{{"strip_width": 40, "pieces": [{{"id": "a", "width": {width}, "length": 5}}]}}"#);
    assert_eq!(refusal(&with("-3")), "pieces[0].width: -3 is not a plain positive number such as 12 or 12.375");
    assert_eq!(
        refusal(&with("\"wide\"")),
        "pieces[0].width: \"wide\" is not a plain positive number such as 12 or 12.375"
    );
    assert_eq!(refusal(&with("1e3")), "pieces[0].width: 1e3 is not a plain positive number such as 12 or 12.375");
    assert_eq!(refusal(&with("41")), "pieces: a is wider than the roll");
    assert_eq!(refusal(&with("99999999999999999999")), "pieces[0].width: the number has too many digits");
    assert_eq!(
        refusal(&with("1, \"wdth\": 2")),
        "pieces[0].wdth (line 1, column 61): unknown field `wdth`, \
        expected one of `id`, `width`, `length`, `count`"
    );
    assert!(refusal("{\"strip_width\": 40}").contains("missing field `pieces`"));
    assert!(refusal("").starts_with("the file (line 1, column 0)"));
}
