//! Cutting rings along the axes.
//!
//! Inside this file a ring is seen from its strip: `u` runs across the strip, `v` along it.

use super::{Axis, Length, Point, Ring};

#[derive(Clone, Copy, PartialEq, Eq)]
struct Local {
    u: i64,
    v: i64,
}

fn local(ring: &Ring, across: Axis) -> Vec<Local> {
    ring.0.iter().map(|it| Local { u: it.along(across).0, v: it.along(across.other()).0 }).collect()
}

fn edges(ring: &[Local]) -> impl Iterator<Item = (Local, Local)> + '_ {
    ring.iter().copied().zip(ring.iter().copied().cycle().skip(1))
}

/// Where the edge from `a` to `b`, not along the strip, meets the line `u = at`: the quotient and what is left, as
/// `v = floor + rest / run` with `0 ≤ rest < run`.
fn meet(a: Local, b: Local, at: i64) -> (i64, i128, i128) {
    let (low, high) = if a.u < b.u { (a, b) } else { (b, a) };
    let run = i128::from(high.u) - i128::from(low.u);
    let rise = (i128::from(at) - i128::from(low.u)) * (i128::from(high.v) - i128::from(low.v));
    let floor = i128::from(low.v) + rise.div_euclid(run);
    (i64::try_from(floor).unwrap_or(if floor < 0 { i64::MIN } else { i64::MAX }), rise.rem_euclid(run), run)
}

pub(super) fn strip(ring: &Ring, across: Axis, from: Length, to: Length) -> Vec<Ring> {
    let Some(bounds) = ring.bounds() else { return Vec::new() };
    let (least, most) = (bounds.min.along(across), bounds.max.along(across));
    if least >= to || most <= from {
        return Vec::new();
    }
    let whole = |it: &Ring| Some(it.tidied()).filter(|it| !it.0.is_empty()).map(from_least_corner);
    if least >= from && most <= to {
        return whole(ring).into_iter().collect();
    }
    let mirrored = |part: Vec<Local>| part.into_iter().map(|it| Local { u: -it.u, v: it.v }).collect::<Vec<_>>();
    let mut parts = Vec::new();
    for part in beyond(local(ring, across), from.0) {
        parts.extend(beyond(mirrored(part), -to.0).into_iter().map(mirrored));
    }
    let point = |it: Local| match across {
        Axis::X => Point::new(Length(it.u), Length(it.v)),
        Axis::Y => Point::new(Length(it.v), Length(it.u)),
    };
    let rings = parts.into_iter().map(|part| Ring(part.into_iter().map(point).collect()));
    closed_at_slits(rings.collect()).iter().filter_map(whole).collect()
}

/// Where a ring touches itself, its parts may meet along that slit only: they are one part.
fn closed_at_slits(rings: Vec<Ring>) -> Vec<Ring> {
    let mut apart: Vec<Ring> = Vec::new();
    for mut ring in rings {
        while let Some((at, joined)) = apart.iter().enumerate().find_map(|(i, it)| Some((i, spliced(it, &ring)?))) {
            apart.remove(at);
            ring = joined;
        }
        apart.push(ring);
    }
    apart
}

/// Both rings as one, through a stretch along one of the axes where one runs up and the other down.
fn spliced(one: &Ring, other: &Ring) -> Option<Ring> {
    let mut edges = one.edges().enumerate().flat_map(|it| other.edges().enumerate().map(move |there| (it, there)));
    edges.find_map(|((i, here), (j, there))| {
        let (from, to) = common(here, there)?;
        let around = [&other.0[j + 1..], &other.0[..=j]].concat();
        Some(Ring([&one.0[..=i], &[from], &around, &[to], &one.0[i + 1..]].concat()))
    })
}

/// The stretch that two edges share in opposite directions, from where the first enters it.
fn common(one: (Point, Point), other: (Point, Point)) -> Option<(Point, Point)> {
    let axis = [Axis::X, Axis::Y].into_iter().find(|it| one.0.along(*it) == one.1.along(*it))?;
    let on_line = |it: Point| it.along(axis) == one.0.along(axis);
    let ends = |(from, to): (Point, Point)| (from.along(axis.other()), to.along(axis.other()));
    let ((a, b), (c, d)) = (ends(one), ends(other));
    if !on_line(other.0) || !on_line(other.1) || (a < b) == (c < d) {
        return None;
    }
    let (low, high) = (a.min(b).max(c.min(d)), a.max(b).min(c.max(d)));
    let at = |it| match axis {
        Axis::X => Point::new(one.0.x, it),
        Axis::Y => Point::new(it, one.0.y),
    };
    (low < high).then(|| if a < b { (at(low), at(high)) } else { (at(high), at(low)) })
}

/// The same part always looks the same, however the ring around it was walked.
fn from_least_corner(mut ring: Ring) -> Ring {
    let least = (0..ring.0.len()).min_by_key(|&i| (ring.0[i].x, ring.0[i].y)).unwrap_or(0);
    ring.0.rotate_left(least);
    ring
}

/// One run of the boundary strictly beyond the line, but for its first and last point, which lie on the line.
struct Chain {
    points: Vec<Local>,
}

/// The parts of a simple ring with `u ≥ at`.
///
/// The boundary beyond the line falls into chains. Along the line, the chains' ends bound the parts by turns, so each
/// first end is joined with the second, each third with the fourth, and so on.
fn beyond(ring: Vec<Local>, at: i64) -> Vec<Vec<Local>> {
    if ring.iter().all(|it| it.u >= at) {
        return vec![ring];
    }
    let chains = chains(&ring, at);
    let next = joins(&chains);
    let mut used = vec![false; chains.len()];
    let mut parts = Vec::new();
    for start in 0..chains.len() {
        let mut part = Vec::new();
        let mut chain = start;
        while !used[chain] {
            used[chain] = true;
            part.extend_from_slice(&chains[chain].points);
            chain = next[chain];
        }
        if !part.is_empty() {
            parts.push(part);
        }
    }
    parts
}

fn chains(ring: &[Local], at: i64) -> Vec<Chain> {
    let on_line = |a: Local, b: Local| {
        let (floor, rest, run) = meet(a, b, at);
        Local { u: at, v: if 2 * rest >= run { floor + 1 } else { floor } }
    };
    // From a corner that is not beyond the line, every chain is walked from its start to its end.
    let first = ring.iter().position(|it| it.u <= at).unwrap_or(0);
    let (head, tail) = ring.split_at(first);
    let turned: Vec<Local> = tail.iter().chain(head).copied().collect();
    let mut chains: Vec<Chain> = Vec::new();
    for (a, b) in edges(&turned) {
        if a.u <= at && b.u > at {
            chains.push(Chain { points: vec![on_line(a, b)] });
        }
        if let Some(chain) = chains.last_mut() {
            if b.u > at {
                chain.points.push(b);
            } else if a.u > at {
                chain.points.push(on_line(a, b));
            }
        }
    }
    chains
}

/// For each chain, the chain that the part goes on with.
fn joins(chains: &[Chain]) -> Vec<usize> {
    struct End {
        v: i64,
        chain: usize,
        leaves: bool,
    }
    let mut ends = Vec::with_capacity(2 * chains.len());
    for (chain, Chain { points }) in chains.iter().enumerate() {
        if let [enters, .., leaves] = points[..] {
            ends.push(End { v: enters.v, chain, leaves: false });
            ends.push(End { v: leaves.v, chain, leaves: true });
        }
    }
    ends.sort_by_key(|it| it.v);
    let mut next: Vec<usize> = (0..chains.len()).collect();
    let mut rest = ends.as_mut_slice();
    while let [one, others @ ..] = rest {
        // Ends at the same place may have been sorted the wrong way round.
        if let Some(partner) = others.iter().position(|it| it.leaves != one.leaves) {
            others.swap(0, partner);
            let (from, to) = if one.leaves { (one.chain, others[0].chain) } else { (others[0].chain, one.chain) };
            next[from] = to;
            rest = &mut others[1..];
        } else {
            rest = others;
        }
    }
    next
}
