//! The document typed: reads a [`super::Job`] by known path, with limits.
//!
//! What cannot be read (written by a newer version, or by no version of ours) is left out or takes its default: a document
//! never makes this fail.

pub(super) mod photos;
mod rooms;

use std::collections::{BTreeMap, BTreeSet};

use automerge::Automerge;
use uuid::Uuid;

use super::look::{Look, Parts, View, Walls};
use super::node::{Fields, Node, Scalar};
use super::schema::{self, key};
use super::{
    Choice, ChosenPlan, CutPiece, CutPlace, Decided, Decision, Dispute, Flight, Foot, Goods, Job, Match, Order, Pin,
    Print, Remnant, Rule, Rules, Stamp, Timestamp, Turn, limits, words,
};
use crate::ids::{ChoiceId, DeviceId, FlightId, GoodsId, JobId, PrintId, RoomId, WallId};
use crate::job::Angle;
use crate::length::{Length, Units};
use crate::problem::Place;

/// The job's name alone: what a list of jobs shows.
pub(super) fn name(doc: &Automerge) -> String {
    Node::root(doc, key::JOB).read(doc).text(key::NAME).map(short).unwrap_or_default()
}

/// Whether the job is put away, without reading the rest.
pub(super) fn archived(doc: &Automerge) -> bool {
    Node::root(doc, key::JOB).read(doc).flag(key::ARCHIVED)
}

/// The job with these parts; the rest of it is left empty.
pub(super) fn job(id: JobId, doc: &View<'_>, parts: &Parts) -> Job {
    let mut reader = Reader { doc, disputes: Vec::new() };
    let fields = Node::root(doc, key::JOB).read(doc);
    reader.dispute(Place::Job, "the job", &fields, &[(key::NAME, "name"), (key::UNITS, "units")]);
    let rooms = reader.rooms(parts.rooms.as_ref());
    let flights = if parts.flights { reader.flights() } else { Vec::new() };
    let goods = if parts.goods { reader.goods() } else { Vec::new() };
    let units = fields.text(key::UNITS).and_then(|it| words::value(&words::UNITS, it)).unwrap_or_default();
    let rules = reader.rules(units);
    let choices = if parts.choices { reader.choices() } else { Vec::new() };
    let prints = reader.prints(&fields.map(key::PRINTS));
    let photos = reader.photos(&fields.map(key::PHOTOS));
    let mut job = Job {
        id,
        schema: schema::schema_of(doc),
        name: fields.text(key::NAME).map(short).unwrap_or_default(),
        units,
        archived: fields.flag(key::ARCHIVED),
        people: reader.people(parts.nameless),
        rooms,
        flights,
        goods,
        rules,
        choices,
        prints,
        photos,
        disputes: reader.disputes,
    };
    if !job.disputes.is_empty() {
        name_disputed(&mut job);
    }
    job
}

/// Every decision, also those that do not count any more, oldest first.
pub(super) fn decided(doc: &View<'_>) -> Vec<Decided> {
    let reader = Reader { doc, disputes: Vec::new() };
    let entries = reader.entries(&Node::root(doc, key::CHOICES)).into_iter();
    let decided = entries.filter_map(|it| {
        let withdrawn = it.withdrawn;
        Some(Decided { choice: reader.choice(it)?, withdrawn })
    });
    decided.collect()
}

/// Says rooms, walls and goods by their names in the values of disputes.
fn name_disputed(job: &mut Job) {
    let mut names: BTreeMap<String, String> = BTreeMap::new();
    names.extend(job.goods.iter().map(|it| (it.id.to_string(), it.name.clone())));
    for room in &job.rooms {
        names.insert(room.id.to_string(), room.name.clone());
        names.extend(
            room.walls.iter().zip(1..).map(|(it, n)| (it.id.to_string(), format!("wall {n} of {}", room.name))),
        );
    }
    for value in job.disputes.iter_mut().flat_map(|it| &mut it.values) {
        // What else is said of a wall stands behind it.
        let (id, rest) = value.split_at(value.find(',').unwrap_or(value.len()));
        if let Some(name) = names.get(id) {
            *value = format!("{name}{rest}");
        }
    }
}

struct Reader<'d> {
    doc: &'d View<'d>,
    disputes: Vec<Dispute>,
}

/// An entry that is never changed, before it is known whether it can be read.
struct Entry<'d> {
    id: Uuid,
    fields: Fields<'d>,
    stamp: Stamp,
    supersedes: Vec<Uuid>,
    withdrawn: bool,
    /// Who withdrew it.
    set_aside: Option<Stamp>,
}

impl<'d> Reader<'d> {
    /// The children that are not removed, with their fields.
    fn children(&self, parent: &Node) -> Vec<(Uuid, Fields<'d>)> {
        self.children_if(parent, |_| true)
    }

    /// Those of them that are wanted; the others are not read.
    fn children_if(&self, parent: &Node, wanted: impl Fn(Uuid) -> bool) -> Vec<(Uuid, Fields<'d>)> {
        let children = parent.children(self.doc).into_iter().filter(|(id, _)| wanted(*id));
        let read = children.map(|(id, node)| (id, node.read(self.doc)));
        read.filter(|(_, fields)| !fields.flag(key::REMOVED)).collect()
    }

    /// The immutable entries under a parent, oldest first: by what their makers had seen, not by their clocks.
    fn entries(&self, parent: &Node) -> Vec<Entry<'d>> {
        let mut entries: Vec<_> = parent
            .children(self.doc)
            .into_iter()
            .filter_map(|(id, node)| {
                let (counter, actor) = node.made()?;
                let by = self.doc.doc.get_author_for_actor(actor).and_then(|it| Uuid::from_slice(it.as_bytes()).ok());
                let fields = node.read(self.doc);
                let stamp = Stamp {
                    by: DeviceId(by.unwrap_or_default()),
                    at: Timestamp(fields.int(key::AT).unwrap_or_default().clamp(0, Timestamp::LAST.0)),
                };
                let supersedes = fields.bytes(key::SUPERSEDES).chunks_exact(16).take(limits::MOST_SUPERSEDED);
                let supersedes = supersedes.filter_map(|it| Uuid::from_slice(it).ok()).collect();
                let withdrawn = fields.flag(key::WITHDRAWN);
                let set_aside = if withdrawn { self.writer(&node, key::WITHDRAWN) } else { None };
                Some((counter, Entry { id, fields, stamp, supersedes, withdrawn, set_aside }))
            })
            .collect();
        entries.sort_by_key(|(counter, entry)| (*counter, entry.id));
        entries.into_iter().map(|(_, entry)| entry).collect()
    }

    /// Who wrote a field's value in use, and when.
    fn writer(&self, node: &Node, key: &str) -> Option<Stamp> {
        let change = self.doc.doc.hash_for_opid(&node.written(self.doc, key)?)?;
        let meta = self.doc.doc.get_change_meta_by_hash(&change)?;
        let by = self.doc.doc.get_author_for_actor(&meta.actor).and_then(|it| Uuid::from_slice(it.as_bytes()).ok());
        Some(Stamp { by: DeviceId(by?), at: Timestamp(meta.timestamp.clamp(0, Timestamp::LAST.0)) })
    }

    fn flights(&mut self) -> Vec<Flight> {
        let mut flights: Vec<Flight> = self
            .children(&Node::root(self.doc, key::FLIGHTS))
            .into_iter()
            .filter_map(|(id, fields)| {
                let name = fields.text(key::NAME).map(short).unwrap_or_default();
                let disputed = [
                    (key::NAME, "name"),
                    (key::STEPS, "number of steps"),
                    (key::RISER, "riser"),
                    (key::GOING, "going"),
                    (key::NOSING, "nosing"),
                    (key::WIDTH, "width"),
                    (key::WINDERS, "number of winders"),
                    (key::WINDER_REACH, "winders' reach"),
                    (key::LANDING, "landing"),
                    (key::FOOT, "foot"),
                    (key::GOODS, "goods"),
                ];
                self.dispute(Place::Flight(FlightId(id)), &format!("the flight {name}"), &fields, &disputed);
                Some(Flight {
                    id: FlightId(id),
                    name,
                    steps: u32::try_from(fields.int(key::STEPS)?).ok().filter(|it| *it <= limits::MOST_STEPS)?,
                    riser: length(&fields, key::RISER)?,
                    going: length(&fields, key::GOING)?,
                    nosing: length(&fields, key::NOSING).unwrap_or_default(),
                    width: length(&fields, key::WIDTH)?,
                    winders: fields.int(key::WINDERS).and_then(|it| u32::try_from(it).ok()).unwrap_or_default(),
                    winder_reach: length(&fields, key::WINDER_REACH).unwrap_or_default(),
                    landing: length(&fields, key::LANDING).unwrap_or_default(),
                    foot: foot(&fields),
                    goods: uuid(&fields, key::GOODS).map(GoodsId),
                    order: order(&fields),
                })
            })
            .collect();
        flights.sort_by(|a, b| (&a.order, a.id).cmp(&(&b.order, b.id)));
        flights
    }

    fn goods(&mut self) -> Vec<Goods> {
        let mut goods: Vec<Goods> = self
            .children(&Node::root(self.doc, key::GOODS))
            .into_iter()
            .filter_map(|(id, fields)| {
                let name = fields.text(key::NAME).map(short).unwrap_or_default();
                let disputed = [
                    (key::NAME, "name"),
                    (key::ROLL_WIDTH, "roll width"),
                    (key::REPEAT_LENGTH, "repeat along the roll"),
                    (key::REPEAT_WIDTH, "repeat across the roll"),
                    (key::PATTERN, "pattern"),
                    (key::PILE, "pile"),
                    (key::INCREMENT, "order increment"),
                    (key::MINIMUM, "minimum order"),
                    (key::LONGEST, "longest roll"),
                ];
                self.dispute(Place::Goods(GoodsId(id)), &format!("the goods {name}"), &fields, &disputed);
                Some(Goods {
                    id: GoodsId(id),
                    name,
                    roll_width: length(&fields, key::ROLL_WIDTH)?,
                    repeat_length: length(&fields, key::REPEAT_LENGTH).unwrap_or_default(),
                    repeat_width: length(&fields, key::REPEAT_WIDTH).unwrap_or_default(),
                    pattern: fields.text(key::PATTERN).and_then(words::read_match).unwrap_or(Match::None),
                    // Pile is the safe side: no piece is turned.
                    pile: fields.get(key::PILE) != Some(&Scalar::Flag(false)),
                    increment: length(&fields, key::INCREMENT).unwrap_or_default(),
                    minimum: length(&fields, key::MINIMUM).unwrap_or_default(),
                    longest: length(&fields, key::LONGEST).unwrap_or_default(),
                    order: order(&fields),
                })
            })
            .collect();
        goods.sort_by(|a, b| (&a.order, a.id).cmp(&(&b.order, b.id)));
        goods
    }

    fn rules(&mut self, units: Units) -> Rules {
        let fields = Node::root(self.doc, key::RULES).read(self.doc);
        let mut rules = Rules::usual(units);
        for (rule, word) in words::RULES {
            self.dispute(Place::Job, "the rules", &fields, &[(word, word)]);
            if let Some(value) = fields.int(word).filter(|it| limits::rule(rule, *it).is_ok()) {
                rules.set(rule, value);
            }
        }
        rules
    }

    fn choices(&self) -> Vec<Choice> {
        let mut entries = self.entries(&Node::root(self.doc, key::CHOICES));
        entries.retain(|it| !it.withdrawn);
        let superseded: BTreeSet<Uuid> = entries.iter().flat_map(|it| it.supersedes.iter().copied()).collect();
        entries.retain(|it| !superseded.contains(&it.id));
        entries.into_iter().filter_map(|it| self.choice(it)).collect()
    }

    fn choice(&self, Entry { id, fields, stamp, supersedes, .. }: Entry<'d>) -> Option<Choice> {
        let supersedes = supersedes.into_iter().map(ChoiceId).collect();
        Some(Choice { id: ChoiceId(id), decision: decision(self.doc, &fields)?, stamp, supersedes })
    }

    fn prints(&self, prints: &Node) -> Vec<Print> {
        let prints = self.entries(prints).into_iter().filter_map(|Entry { id, fields, stamp, .. }| {
            let sheet = words::value(&words::SHEETS, fields.text(key::KIND)?)?;
            Some(Print { id: PrintId(id), sheet, stamp })
        });
        prints.collect()
    }

    /// The devices whose persons gave a name; with the `nameless`, every device that edited.
    fn people(&mut self, nameless: bool) -> BTreeMap<DeviceId, String> {
        let authors = if nameless { self.doc.authors() } else { Vec::new() };
        let authors = authors.into_iter().filter_map(|it| Uuid::from_slice(it.as_bytes()).ok());
        let mut people: BTreeMap<DeviceId, String> = authors.map(|it| (DeviceId(it), String::new())).collect();
        let fields = Node::root(self.doc, key::PEOPLE).read(self.doc);
        for (device, name) in fields.scalars() {
            if let (Ok(device), Some(name)) = (device.parse::<DeviceId>(), name.text()) {
                self.dispute(Place::Job, "a person", &fields, &[(&device.to_string(), "name")]);
                people.insert(device, short(name));
            }
        }
        people
    }

    /// Notes every listed field that has more than one value.
    fn dispute(&mut self, place: Place, what: &str, fields: &Fields<'_>, listed: &[(&str, &str)]) {
        for (key, word) in listed {
            let values = fields.all(key);
            if values.len() > 1 {
                let values = values.iter().map(|it| in_words(word, it)).collect();
                self.disputes.push(Dispute { place, field: format!("{word} of {what}"), values });
            }
        }
    }
}

fn decision(doc: &impl Look, fields: &Fields<'_>) -> Option<Decision> {
    let piece = || Some(short(fields.text(key::PIECE)?));
    match fields.text(key::KIND)? {
        key::PLAN => Some(Decision::Plan(plan(doc, fields)?)),
        key::PIECE => Some(Decision::Cut(CutPiece {
            goods: GoodsId(uuid(fields, key::GOODS)?),
            piece: piece()?,
            place: CutPlace::of_bytes(fields.bytes(key::CUTS))?,
        })),
        key::LEFT_OUT => Some(Decision::LeaveOut { piece: piece()? }),
        key::ON_HAND => Some(Decision::OnHand(Remnant {
            goods: GoodsId(uuid(fields, key::GOODS)?),
            lot: short(fields.text(key::NAME)?),
            width: length(fields, key::WIDTH)?,
            length: length(fields, key::LENGTH)?,
            worth: length(fields, key::WORTH).unwrap_or_default(),
        })),
        key::PIN => Some(Decision::Pin { room: RoomId(uuid(fields, key::ROOM)?), pin: pin(fields)? }),
        _ => None,
    }
}

fn plan(doc: &impl Look, fields: &Fields<'_>) -> Option<ChosenPlan> {
    let (ways, cuts) = (fields.map(key::WAYS).read(doc), fields.map(key::CUTS).read(doc));
    let ways = ways.scalars().filter_map(|(of, way)| Some((Uuid::try_parse(of).ok()?, short(way.text()?))));
    let cuts = cuts.scalars().filter_map(|(piece, cut)| Some((piece.to_owned(), cut_place(cut)?)));
    Some(ChosenPlan {
        goods: GoodsId(uuid(fields, key::GOODS)?),
        order: length(fields, key::ORDER)?,
        ways: ways.collect(),
        cuts: cuts.collect(),
    })
}

fn cut_place(value: &Scalar) -> Option<CutPlace> {
    match value {
        Scalar::Bytes(bytes) => CutPlace::of_bytes(bytes),
        _ => None,
    }
}

fn pin(fields: &Fields<'_>) -> Option<Pin> {
    let wall = || Some(WallId(uuid(fields, key::WALL)?));
    match fields.text(key::PIN)? {
        key::PILE => Some(Pin::Pile(words::value(&words::PILES, fields.text(key::PILE)?)?)),
        key::OFFSET => Some(Pin::Seam { wall: wall()?, distance: length(fields, key::OFFSET)? }),
        key::WALL => Some(Pin::Along { wall: wall()? }),
        key::CLEAR => Some(Pin::NoSeam),
        _ => None,
    }
}

fn foot(fields: &Fields<'_>) -> Option<Foot> {
    fields.text(key::FOOT).and_then(words::foot).filter(|it| (-Length::MOST..=Length::MOST).contains(&it.offset))
}

fn order(fields: &Fields<'_>) -> Order {
    fields.text(key::ORDER).and_then(Order::read).unwrap_or_default()
}

fn uuid(fields: &Fields<'_>, key: &str) -> Option<Uuid> {
    fields.text(key).and_then(|it| Uuid::try_parse(it).ok())
}

/// A length of a sane size, of either sign; the engine says what is wrong with a negative one.
fn length(fields: &Fields<'_>, key: &str) -> Option<Length> {
    fields.int(key).map(Length).filter(|it| (-Length::MOST..=Length::MOST).contains(it))
}

/// A text up to the longest that a person can enter.
fn short(text: &str) -> String {
    text.chars()
        .scan(0, |bytes, it| {
            *bytes += it.len_utf8();
            (*bytes <= limits::MOST_TEXT).then_some(it)
        })
        .collect()
}

fn in_words(word: &str, value: &Scalar<'_>) -> String {
    let rules = [Rule::ClosureRatio, Rule::MostCrossSeams].map(|it| words::word(&words::RULES, it));
    let counts = [rules[0], rules[1], "number of steps", "number of winders", "level"];
    match value {
        Scalar::Text(text) if word == "foot" => words::foot(text).map_or_else(
            || short(text),
            |it| {
                let way = if it.up { "up" } else { "down" };
                format!("{}, {} from its start, leading {way}", it.wall, it.offset.exact_text())
            },
        ),
        Scalar::Text(text) => short(text),
        Scalar::Int(n) if counts.contains(&word) => n.to_string(),
        Scalar::Int(n) if word == "turn" && limits::turn(Turn(Angle(*n))).is_ok() => Turn(Angle(*n)).show(),
        Scalar::Int(n) => Length(*n).exact_text(),
        Scalar::Flag(flag) => if *flag { "yes" } else { "no" }.to_owned(),
        Scalar::Bytes(bytes) => format!("{} bytes", bytes.len()),
        Scalar::Null => "none".to_owned(),
    }
}
