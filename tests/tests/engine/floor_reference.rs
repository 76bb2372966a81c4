use nalgebra::{DMatrix, DVector};
use napline_tests::random::Random;
use proptest::prelude::*;
use serde::Deserialize;
use shared_model::floor::network::{Adjusted, Network, Reading, Step, Tie, adjust};

/// What NumPy and SciPy make of the same networks by observation equations; written by `reference.py` beside it.
const REFERENCE: &str = include_str!("../../data/floor/reference.json");

#[derive(Deserialize)]
struct Reference {
    networks: Vec<Expected>,
}

#[derive(Deserialize)]
struct Expected {
    name: String,
    places: usize,
    ties: Vec<(usize, usize, f64, f64)>,
    readings: Vec<Read>,
    moved: Vec<[f64; 2]>,
    residuals: Vec<[f64; 2]>,
    standardised: Vec<[f64; 2]>,
    /// What each reading is too large by, if it alone is wrong, and the standard deviation of that; zeros when nothing checks it.
    blunders: Vec<[f64; 2]>,
    fit: f64,
    degrees: usize,
    /// χ² at 99.9 %.
    limit: f64,
}

#[derive(Deserialize)]
struct Read {
    sigma: f64,
    moves: Vec<(usize, f64, f64)>,
}

fn networks() -> Vec<(Expected, Adjusted)> {
    let reference: Reference = serde_json::from_str(REFERENCE).unwrap();
    assert!(reference.networks.len() >= 7);
    let adjusted = |it: Expected| {
        let step = |&(at, east, north): &(usize, f64, f64)| (at, Step::new(east, north));
        let readings =
            it.readings.iter().map(|it| Reading { sigma: it.sigma, moves: it.moves.iter().map(step).collect() });
        let ties = it.ties.iter().map(|&(from, to, east, north)| Tie { from, to, misfit: Step::new(east, north) });
        let network = Network { places: it.places, ties: ties.collect(), readings: readings.collect() };
        let ours = adjust(&network).unwrap();
        (it, ours)
    };
    reference.networks.into_iter().map(adjusted).collect()
}

fn near(name: &str, ours: Step, [east, north]: [f64; 2], within: f64) {
    let off = (ours.x - east).hypot(ours.y - north);
    assert!(off < within, "{name}: {ours:?} is {east} {north}");
}

#[test]
fn places_and_residuals_agree_to_a_thousandth_of_a_millimetre() {
    for (expected, ours) in networks() {
        assert_eq!((ours.moved.len(), ours.ties.len()), (expected.moved.len(), expected.residuals.len()));
        for (ours, theirs) in ours.moved.iter().zip(&expected.moved) {
            near(&expected.name, *ours, *theirs, 1e-3);
        }
        for (ours, theirs) in ours.ties.iter().zip(&expected.residuals) {
            near(&expected.name, ours.residual, *theirs, 1e-3);
        }
    }
}

#[test]
fn what_the_loops_say_agrees() {
    for (expected, ours) in networks() {
        let name = &expected.name;
        assert!((ours.test.fit - expected.fit).abs() < 1e-6 * expected.fit.max(1.0), "{name}: {:?}", ours.test);
        assert_eq!(ours.test.degrees, expected.degrees, "{name}");
        assert!((ours.test.blunder / expected.limit - 1.0).abs() < 1e-6, "{name}: {:?}", ours.test);
        for (ours, theirs) in ours.ties.iter().zip(&expected.standardised) {
            near(name, ours.standardised, *theirs, 1e-4);
        }
        for (ours, &[size, sigma]) in ours.readings.iter().zip(&expected.blunders) {
            near(name, Step::new(ours.size, ours.sigma), [size, sigma], 1e-3 * sigma.max(1.0));
            let expected = if sigma > 0.0 { -size / sigma } else { 0.0 };
            assert!((ours.standardised - expected).abs() < 1e-4, "{name}: {ours:?} is {expected}");
        }
    }
}

/// The levelling net of Ghilani, *Adjustment Computations*, ch. 12, in feet: bench marks X at 100.00 and Y at 107.50, seven lines, and
/// their lengths in miles. From memory, the input and the printed results, without weights and with 1 ÷ length; both recomputed.
#[test]
fn a_printed_levelling_net_comes_out_as_printed() {
    let [x, y, a, b, c] = [0, 1, 2, 3, 4];
    let lines = [
        (x, a, 5.10, 4.0),
        (a, y, 2.34, 3.0),
        (y, c, -1.25, 2.0),
        (c, x, -6.13, 3.0),
        (a, b, -0.68, 2.0),
        (y, b, -3.00, 2.0),
        (b, c, 1.70, 2.0),
        // The bench marks are known.
        (x, y, 7.50, 1e-9),
    ];
    let net = |weighted: bool| {
        let up = |rise: f64| Step::new(0.0, rise);
        let ties = lines.map(|(from, to, rise, _)| Tie { from, to, misfit: up(rise) });
        let sigma = |miles: f64| if weighted || miles < 1e-3 { miles.sqrt() } else { 1.0 };
        let north = lines.iter().enumerate().map(|(at, it)| Reading { sigma: sigma(it.3), moves: vec![(at, up(1.0))] });
        let east = (0..lines.len()).map(|at| Reading { sigma: 1.0, moves: vec![(at, Step::new(1.0, 0.0))] });
        adjust(&Network { places: 5, ties: ties.to_vec(), readings: north.chain(east).collect() }).unwrap()
    };
    let printed = [(false, [105.141, 104.483, 106.188]), (true, [105.150, 104.489, 106.197])];
    for (weighted, heights) in printed {
        let found = net(weighted);
        for (place, height) in [a, b, c].into_iter().zip(heights) {
            let ours = 100.0 + found.moved[place].y;
            assert!((ours - height).abs() < 5.1e-4, "{ours} is printed {height}");
        }
    }
    // Residuals of the net without weights, and its standard deviation of unit weight: √(v'v ÷ 4) = 0.050.
    let found = net(false);
    let residuals = [0.041, 0.019, -0.062, -0.058, 0.022, -0.017, 0.005];
    for (ours, printed) in found.ties.iter().zip(residuals) {
        assert!((ours.residual.y - printed).abs() < 5.1e-4, "{ours:?} is printed {printed}");
    }
    assert!(((found.test.fit / 4.0).sqrt() - 0.050).abs() < 5e-4);
}

/// A chain of places with ties across it, each read along some direction and square to it, and readings that three ties share.
fn random_network(random: &mut Random) -> Network {
    let places = 3 + random.below(8) as usize;
    let mut pairs: Vec<(usize, usize)> = (1..places).map(|it| (random.below(it as u64) as usize, it)).collect();
    for _ in 0..random.below(6) {
        let from = random.below(places as u64) as usize;
        pairs.push((from, (from + 1 + random.below(places as u64 - 1) as usize) % places));
    }
    let mut step = |size: f64| Step::new(size * random.normal(), size * random.normal());
    let ties: Vec<Tie> = pairs.iter().map(|&(from, to)| Tie { from, to, misfit: step(10.0) }).collect();
    let mut readings = Vec::new();
    for at in 0..ties.len() {
        let along = step(1.0);
        readings.push(Reading { sigma: 3.2, moves: vec![(at, along)] });
        readings.push(Reading { sigma: 1.9, moves: vec![(at, Step::new(-along.y, along.x))] });
        let shared = [at, (at + 1) % ties.len(), (at + 2) % ties.len()];
        readings.push(Reading { sigma: 4.0, moves: shared.map(|it| (it, step(0.3))).to_vec() });
    }
    Network { places, ties, readings }
}

proptest! {
    /// What makes it the least-squares solution, from the definition: the adjusted ties are differences of the places, and their
    /// residuals, weighted with the inverse covariance of the ties, are square to whatever a shift of a place does
    /// (H'C⁻¹v = 0, the normal equations).
    #[test]
    fn residuals_are_square_to_every_shift(seed in any::<u64>()) {
        let network = random_network(&mut Random(seed));
        let adjusted = adjust(&network).unwrap();
        let count = 2 * network.ties.len();
        let mut covariance = DMatrix::<f64>::zeros(count, count);
        for reading in &network.readings {
            let mut column = DVector::<f64>::zeros(count);
            for &(tie, step) in &reading.moves {
                column[2 * tie] += step.x;
                column[2 * tie + 1] += step.y;
            }
            covariance += &column * column.transpose() * reading.sigma.powi(2);
        }
        let residuals = DVector::from_iterator(count, adjusted.ties.iter().flat_map(|it| [it.residual.x, it.residual.y]));
        let weighted = covariance.clone().lu().solve(&residuals).unwrap();
        let size = weighted.amax().max(1e-3);
        for place in 0..network.places {
            for axis in 0..2 {
                let pulls = network.ties.iter().enumerate().map(|(at, tie)| {
                    let sign = f64::from(u8::from(tie.to == place)) - f64::from(u8::from(tie.from == place));
                    sign * weighted[2 * at + axis]
                });
                let pull: f64 = pulls.sum();
                prop_assert!(pull.abs() < 1e-6 * size, "place {}: {} of {}", place, pull, size);
            }
        }
        for (tie, judged) in network.ties.iter().zip(&adjusted.ties) {
            let apart = adjusted.moved[tie.to] - adjusted.moved[tie.from] - tie.misfit - judged.residual;
            prop_assert!(apart.norm() < 1e-6, "{:?} misses by {}", tie, apart.norm());
        }
        let fit = residuals.dot(&weighted);
        prop_assert!((adjusted.test.fit - fit).abs() < 1e-6 * fit.max(1.0));
    }
}
