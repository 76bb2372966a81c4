//! The ways round that lead back to their start.

use std::collections::VecDeque;

use super::network::Network;

/// A closed walk: each tie with +1 when it is walked from its first place to its second, with -1 the other way.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Circuit(pub Vec<(usize, f64)>);

/// A basis of all loops: each tie that joins places which are joined already closes one, by the shortest way round that the
/// ties before it offer. None follows from the others, since each is the first to use its last tie.
pub(super) fn circuits(network: &Network) -> Vec<Circuit> {
    let mut links: Vec<Vec<(usize, usize)>> = vec![Vec::new(); network.places];
    let mut circuits = Vec::new();
    for (at, tie) in network.ties.iter().enumerate() {
        if let Some(mut way) = shortest(network, &links, tie.to, tie.from) {
            way.push((at, 1.0));
            circuits.push(Circuit(way));
        }
        links[tie.from].push((at, tie.to));
        links[tie.to].push((at, tie.from));
    }
    circuits
}

/// Breadth first, so with the fewest ties; among equals the first found.
fn shortest(network: &Network, links: &[Vec<(usize, usize)>], start: usize, end: usize) -> Option<Vec<(usize, f64)>> {
    let mut reached_by: Vec<Option<usize>> = vec![None; network.places];
    let mut queue = VecDeque::from([start]);
    while let Some(at) = queue.pop_front() {
        if at == end {
            break;
        }
        for &(tie, next) in &links[at] {
            if next != start && reached_by[next].is_none() {
                reached_by[next] = Some(tie);
                queue.push_back(next);
            }
        }
    }
    let (mut way, mut at) = (Vec::new(), end);
    while at != start {
        let by = reached_by[at]?;
        let tie = network.ties[by];
        let (before, sign) = if tie.to == at { (tie.from, 1.0) } else { (tie.to, -1.0) };
        way.push((by, sign));
        at = before;
    }
    way.reverse();
    Some(way)
}
