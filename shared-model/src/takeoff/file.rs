//! The open file of `napline takeoff`: a job in, its whole takeoff out.
//!
//! Lengths are written twice, as exact text and in millimetres; points of the plan in millimetres only. A count of 1/8 µm
//! has at most six decimals in millimetres, so these too are exact.

use std::fmt::Write;

use serde_json::Value;

use super::out::{GoodsOut, MaterialsOut, Out, RoomOut, ring};
use super::{GoodsTakeoff, Takeoff, takeoff};
use crate::job::{CutPlace, Job, Source};
use crate::layout::Layout;
use crate::length::{Length, Units};
use crate::open_file::{self, FileError};
use crate::polygon::{Area, AreaUnit};

/// A job file and what follows from it, ready to be written.
#[derive(Clone, PartialEq, Debug)]
pub struct FileTakeoff {
    job: Job,
    takeoff: Takeoff,
}

/// Reads a job file and runs every stage.
pub fn run(json: &str) -> Result<FileTakeoff, FileError> {
    let job: Job = open_file::read(json)?;
    let takeoff = takeoff(&job);
    Ok(FileTakeoff { job, takeoff })
}

/// The JSON Schema of a job file.
pub fn schema() -> Value {
    open_file::schema::<Job>("A job of Napline, as `napline takeoff` reads it", &[])
}

impl FileTakeoff {
    pub fn takeoff(&self) -> &Takeoff {
        &self.takeoff
    }

    pub fn has_problems(&self) -> bool {
        !self.takeoff.problems.is_empty()
    }

    /// The takeoff as one line of JSON, ended by a line feed.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        let rooms = self.takeoff.floor.rooms.iter().map(|it| RoomOut {
            room: it.room.to_string(),
            name: &it.name,
            level: it.level,
            outline: ring(&it.ring),
            floor: ring(&it.face),
            holes: it.holes.iter().map(ring).collect(),
            covered: ring(&it.covered),
            perimeter: it.outline.perimeter.into(),
            area: it.outline.area.into(),
        });
        let materials = &self.takeoff.materials;
        let out = Out {
            job: self.job.id.to_string(),
            name: &self.job.name,
            rooms: rooms.collect(),
            goods: self.takeoff.goods.iter().map(GoodsOut::of).collect(),
            materials: MaterialsOut {
                pad: materials.pad.into(),
                strip: materials.strip.into(),
                well_edges: materials.well_edges.into(),
                tape: materials.tape.into(),
                transitions: materials.transitions.iter().map(|it| (*it).into()).collect(),
                power_stretch: &materials.power_stretch,
            },
            problems: &self.takeoff.problems,
        };
        Ok(serde_json::to_string(&out)? + "\n")
    }

    /// The takeoff for people.
    pub fn text(&self) -> String {
        let mut text = format!("{}\n", self.job.name);
        for goods in &self.takeoff.goods {
            match goods.layout() {
                Some(layout) => goods_text(&mut text, &self.job, goods, layout),
                None => {
                    let _ = writeln!(text, "\n{}: nothing to lay yet.", goods.name);
                }
            }
        }
        let materials = &self.takeoff.materials;
        let up = |it: Length| it.show_up(self.job.units.style());
        let _ = writeln!(
            text,
            "\nPad {}, tack strip {}, seam tape {}, transitions {}.",
            area_text(materials.pad, self.job.units),
            up(materials.strip),
            up(materials.tape),
            materials.transitions.len()
        );
        if !self.takeoff.problems.is_empty() {
            text += "\nTo settle before cutting:\n";
            for problem in &self.takeoff.problems {
                let _ = writeln!(text, "- {}", problem.text);
            }
        }
        text
    }
}

fn goods_text(text: &mut String, job: &Job, goods: &GoodsTakeoff, layout: &Layout) {
    let show = |it: Length| it.show(job.units.style());
    let up = |it: Length| it.show_up(job.units.style());
    let area = |it: Area| area_text(it, job.units);
    let bound = layout.roll.lower_bound;
    let rolls: Vec<String> = layout.rolls().into_iter().map(|(_, length)| up(length)).collect();
    let proof = if layout.optimal() {
        "no plan of these cuts is shorter".to_owned()
    } else if rolls.len() > 1 {
        format!("divided among {} rolls: {}", rolls.len(), rolls.join(", "))
    } else {
        format!("no plan of these cuts is shorter than {}", show(bound))
    };
    let _ = writeln!(text, "\n{}: order {} ({}).", goods.name, up(layout.order), layout.name);
    if let Some(standing) = &goods.standing {
        let _ = writeln!(text, "  The chosen plan: {}", standing.words(job.units));
    }
    let used = layout.roll.length + layout.more_rolls().map(|it| it.roll.length).sum();
    let _ = writeln!(text, "  Roll used {}; {proof}.", up(used));
    if layout.parted {
        let _ =
            writeln!(text, "  Carpet that meets comes from two rolls or dye lots: compare them before the first cut.");
    }
    if let Some(freehand) = layout.freehand {
        let _ = writeln!(text, "  Cut edge to edge. Cuts around corners would need {}.", up(freehand));
    }
    let _ = writeln!(
        text,
        "  Net {}, ordered {}, waste {}. Seams {}.",
        area(layout.net),
        area(layout.ordered),
        area(layout.waste()),
        show(layout.seam_length)
    );
    let strip = |it: CutPlace| layout.others.iter().position(|of| of.source == it.source);
    let mut placed: Vec<_> = layout.placed().map(|(piece, at)| (strip(at), at, piece)).collect();
    placed.sort_by_key(|(strip, at, _)| (*strip, at.y, at.x));
    let mut before = None;
    for (strip, at, piece) in placed {
        if let Some(it) = strip.filter(|_| strip != before).and_then(|it| layout.others.get(it)) {
            let size = |length: String| format!("{} × {length}", show(it.roll.width));
            let _ = match it.source {
                Source::Roll(_) => writeln!(text, "  From {}, {}:", it.name, size(up(it.length))),
                Source::Remnant(_) => writeln!(text, "  From the remnant {}, {}:", it.name, size(show(it.length))),
            };
        }
        before = strip;
        let (width, length) = (up(piece.width), up(piece.length));
        let place = format!("{} along, {} across", show(at.y), show(at.x));
        let _ = writeln!(text, "  {:<12} {width} × {length}  {}  at {place}", piece.id, piece.label);
    }
    for piece in &layout.left_out {
        let (width, length) = (up(piece.width), up(piece.length));
        let _ = writeln!(text, "  {:<12} {width} × {length}  {}  not from this roll", piece.id, piece.label);
    }
    for (of, it) in layout.offcuts(&job.rules) {
        let of = of.map(|it| format!(" {}", it.name)).unwrap_or_default();
        let _ = writeln!(text, "  Left over: {} × {} at {} along{of}.", show(it.width), show(it.length), show(it.y));
    }
}

fn area_text(area: Area, units: Units) -> String {
    area.show(match units {
        Units::Imperial => AreaUnit::SquareYards,
        Units::Metric => AreaUnit::SquareMetres,
    })
}
