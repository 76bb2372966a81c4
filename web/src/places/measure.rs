//! Measuring a room: the sketch above, the keypad below.

use leptos::prelude::*;
use shared_model::ids::{RoomId, WallId};
use shared_model::job::{Edit, Room, Turn, Wall};
use shared_model::length::Length;
use shared_model::outline::sketch;
use shared_model::wire::Whereabouts;

use super::fixtures::{self, FixtureDraft};
use super::openings::{self, Draft};
use super::panel::{Entering, Panel, Tools};
use super::standing::Standing;
use super::undo_keys::Removed;
use super::{bending, marks};
use crate::checking::{self, End};
use crate::drawing::sketch::{FloorSpot, RoomSketch, Subject};
use crate::keypad::{Pad, Taken};
use crate::known::{self, Known};
use crate::measuring::{
    Aim, add_wall, aim_after, free_turn, other_way, previewed, read_wall, state_turn, turned_last, usual_turn,
};
use crate::parting::split;
use crate::phone::Phone;
use crate::proposal::Proposal;
use crate::state::OpenJob;

/// The room on the screen and what the keypad is for. A handle: copy it freely.
#[derive(Clone, Copy)]
pub struct Measuring {
    pub here: OpenJob,
    pub room: Memo<Option<Room>>,
    /// What follows from its readings, without what is being typed.
    pub known: Memo<Option<Known>>,
    pub aim: RwSignal<Aim>,
    /// The turn into the wall to come.
    pub turn: RwSignal<Turn>,
    pub pad: Pad,
    /// An opening that is being entered.
    pub draft: RwSignal<Draft>,
    /// A fixture that is being entered.
    pub standing: RwSignal<FixtureDraft>,
    /// A note is being written, for the whole room when it has no place.
    pub noting: RwSignal<bool>,
    pub note_at: RwSignal<Option<FloorSpot>>,
    /// How many walls the room had when the number in the field was begun.
    walls_then: RwSignal<Option<usize>>,
}

impl Measuring {
    fn new(id: RoomId) -> Self {
        let here = OpenJob::here();
        let known = Memo::new(move |_| here.rooms.with(|it| known::of(it, id).cloned()));
        let room = Memo::new(move |_| known.with(|it| it.as_ref().map(|it| it.room().clone())));
        let (aim, turn) = (RwSignal::new(Aim::Next), RwSignal::new(Turn::RIGHT));
        let (draft, standing) = (RwSignal::default(), RwSignal::default());
        let (noting, note_at) = (RwSignal::new(false), RwSignal::new(None));
        let units = Signal::derive(move || here.job.get().units);
        let walls_then = RwSignal::new(None);
        let pad = Pad::new(units);
        let measuring = Self { here, room, known, aim, turn, pad, draft, standing, noting, note_at, walls_then };
        let picked = here.picked.try_update_untracked(Option::take).flatten();
        match (picked, room.get_untracked()) {
            (Some((of, picked)), Some(_)) if of == id => aim.set(picked),
            (_, Some(room)) => aim.set(aim_after(&room, None)),
            _ => {}
        }
        measuring
    }

    pub fn wall(self) -> Option<Wall> {
        let id = self.aim.get().wall()?;
        self.room.with(|room| room.as_ref()?.wall(id).cloned())
    }

    /// Enter on the keypad; the reason when what was entered is for nothing.
    pub fn take(self, taken: Option<Taken>) -> Result<(), String> {
        let Some(room) = self.room.get_untracked() else { return Ok(()) };
        let aim = self.aim.get_untracked();
        if taken.as_ref().is_some_and(|it| it.value == Length::ZERO) && !aim.may_be_zero() {
            return Err("A length of zero cannot be.".to_owned());
        }
        match (aim, taken) {
            (Aim::Next, Some(taken)) if !room.closed => {
                self.another_came_first(&room)?;
                self.add(&room, Some(&taken))?;
            }
            (Aim::Next, None) if !room.closed && self.can_close() => self.close_ring(),
            (Aim::Wall(id), Some(taken)) => self.read(&room, id, &taken, false)?,
            (Aim::Correct(id), Some(taken)) => self.read(&room, id, &taken, true)?,
            (Aim::Check(of), Some(taken)) => {
                self.here.try_act("check", vec![checking::check(&room, of, &taken)])?;
                self.aim.set(Aim::Next);
            }
            (Aim::Check(_) | Aim::Probe(_), None) => self.aim.set(Aim::Next),
            (Aim::Probe(_), Some(_)) => return Err("Tap both ends of the check first.".to_owned()),
            (Aim::Opening(..), Some(taken)) => openings::take(self, self.draft, &taken)?,
            (Aim::Fixture(..), taken) => fixtures::take(self, taken.as_ref())?,
            (Aim::Rise(..), Some(taken)) => bending::take(self, &room, &taken)?,
            (Aim::Mark(_), Some(_)) => return Err("A mark needs no number: tap the sketch.".to_owned()),
            (Aim::Mark(_), None) => self.aim.set(Aim::Next),
            (Aim::Rise(id, _), None) => self.aim.set(Aim::Wall(id)),
            (Aim::Split(id), Some(taken)) => {
                let Some(wall) = room.wall(id) else { return Ok(()) };
                if wall.rises_in_force().next().is_some() {
                    return Err("An arc is not split: take its rise back first.".to_owned());
                }
                let Some((second, edits)) = split(&room, wall, &taken) else {
                    return Err("The wall is not that long.".to_owned());
                };
                self.here.try_act("wall split", edits)?;
                self.aim.set(Aim::Wall(second));
            }
            (Aim::Wall(_) | Aim::Correct(_) | Aim::Split(_), None) => self.aim.set(Aim::Next),
            (Aim::Next, Some(_)) => return Err("Tap the wall that it belongs to.".to_owned()),
            _ => {}
        }
        Ok(())
    }

    /// The wall that a number was begun for is somebody else's by now: nobody's length may slip to the next one unseen.
    fn another_came_first(self, room: &Room) -> Result<(), String> {
        let (then, now) = (self.walls_then.get_untracked(), room.walls.len());
        if then.is_none_or(|it| it == now) {
            return Ok(());
        }
        self.walls_then.set(Some(now));
        Err(format!("Another phone has changed the walls meanwhile. Is this wall {}? Then Enter again.", now + 1))
    }

    pub fn add(self, room: &Room, taken: Option<&Taken>) -> Result<(), String> {
        self.here.try_act("wall", add_wall(room, self.turn.get_untracked(), taken))?;
        self.turn.set(self.room.with_untracked(|it| it.as_ref().map_or(Turn::RIGHT, usual_turn)));
        Ok(())
    }

    fn read(self, room: &Room, id: WallId, taken: &Taken, correct: bool) -> Result<(), String> {
        let wall = room.wall(id).ok_or("The wall is gone: somebody removed it.")?;
        let first = wall.in_force().next().is_none();
        let said = match (first, correct) {
            (true, _) => "reading",
            (false, false) => "second reading",
            (false, true) => "correction",
        };
        self.here.try_act(said, vec![read_wall(room.id, wall, taken, correct)])?;
        if first {
            self.aim.set(aim_after(room, Some(id)));
        }
        Ok(())
    }

    /// Puts what the survey proposes in place of what it suspects. Nothing is forgotten, and undo takes it back.
    pub fn take_proposed(self, proposal: Proposal) {
        let edit = self.known.with_untracked(|it| it.as_ref().and_then(|it| proposal.edit(it.room(), it.units())));
        if let Some(edit) = edit {
            self.pad.clear();
            self.aim.set(Aim::Next);
            self.here.act("proposal taken", vec![edit]);
        }
    }

    /// Right becomes left: for the wall to come, or at the end of the picked wall.
    pub fn turn_other_way(self) {
        match self.wall() {
            Some(wall) => self.set_turn(&wall, other_way(wall.turn())),
            None => self.turn.update(|it| *it = other_way(*it)),
        }
    }

    /// A tap on the sketch while a check is being aimed.
    pub fn probe(self, from: Option<End>, to: End) {
        let aim = match (from, self.room.get_untracked()) {
            (Some(from), Some(room)) => match checking::across(&room, from, to) {
                Ok(of) => Aim::Check(of),
                Err(reason) => return self.pad.refused.set(Some(reason.to_owned())),
            },
            _ => Aim::Probe(Some(to)),
        };
        self.pad.clear();
        self.aim.set(aim);
    }

    fn set_turn(self, wall: &Wall, turn: Turn) {
        if let Some(room) = self.room.get_untracked() {
            self.here.act("turn", vec![state_turn(room.id, wall, turn)]);
        }
    }

    /// The corner at the end of the picked wall is not measured.
    pub fn turn_freely(self) {
        if let (Some(room), Some(wall)) = (self.room.get_untracked(), self.wall()) {
            self.here.act("free corner", vec![free_turn(room.id, &wall)]);
        }
    }

    /// An angle from the sheet, for the same corner as the turn key.
    pub fn turn_by(self, turn: Turn) {
        match self.wall() {
            Some(wall) => self.set_turn(&wall, turn),
            None => self.turn.set(turn),
        }
    }

    /// The turn that the keys change now.
    pub fn turn_now(self) -> Turn {
        self.wall().map_or_else(|| self.turn.get(), |it| it.turn())
    }

    pub fn can_close(self) -> bool {
        let job = self.here.job.get();
        let turn = self.turn.get();
        self.room.with(|room| {
            let open = room.as_ref().filter(|it| !it.closed && it.walls.len() >= 3);
            open.is_some_and(|it| sketch(&turned_last(it, turn), &job.rules).closes)
        })
    }

    pub fn close_ring(self) {
        if let Some(room) = self.room.get_untracked() {
            let turn = self.turn.get_untracked();
            let last = room.walls.last().filter(|it| !room.closed && !it.turns_freely() && it.turn() != turn);
            let mut edits: Vec<Edit> = last.map(|it| state_turn(room.id, it, turn)).into_iter().collect();
            edits.push(Edit::CloseRoom { room: room.id, closed: !room.closed });
            self.here.act("close the ring", edits);
        }
    }

    fn subject(self, phone: Phone) -> Option<Subject> {
        let job = self.here.job.get();
        let (aim, turn, units) = (self.aim.get(), self.turn.get(), job.units);
        let typed = self.pad.entry.with(|it| it.preview(units));
        let room = self.room.get()?;
        let next = (aim == Aim::Next && !room.closed && typed.is_none()).then_some(turn);
        let shown = previewed(&room, aim, turn, typed);
        let me = phone.me.with(|it| it.as_ref().map(|it| it.person.device));
        let people = self.here.others.get().into_iter().enumerate().filter(|(_, (who, _))| Some(who.device) != me);
        let people = people.filter_map(|(n, (who, at))| match at {
            Whereabouts::Wall(of, wall) if of == room.id => Some((wall, who.name, n % 6)),
            _ => None,
        });
        let sketch = sketch(&shown, &job.rules);
        let problems = self.known.with(|it| it.as_ref().filter(|_| room.closed).map(|it| it.problems().to_vec()));
        let (probe, check) = match aim {
            Aim::Probe(from) => (Some(from), None),
            Aim::Check(of) => (None, Some(of)),
            _ => (None, None),
        };
        let (picked, people) = (aim.wall(), people.collect());
        Some(Subject {
            room: shown,
            sketch,
            units,
            picked,
            next,
            problems: problems.unwrap_or_default(),
            people,
            probe,
            check,
            marking: matches!(aim, Aim::Mark(_)),
        })
    }
}

#[component]
pub fn Measure(room: RoomId) -> impl IntoView {
    let measuring = Measuring::new(room);
    provide_context(measuring);
    let phone = Phone::here();
    let here = measuring.here;
    let present = Memo::new(move |_| measuring.room.with(Option::is_some));
    Effect::new(move |_| {
        let at = measuring.aim.get().wall().map_or(Whereabouts::Room(room), |wall| Whereabouts::Wall(room, wall));
        phone.go(here.id, at);
    });
    // A picked wall that somebody removed is no longer picked.
    Effect::new(move |_| {
        let gone = measuring.aim.get().wall().is_some() && measuring.wall().is_none();
        if gone {
            measuring.aim.set(Aim::Next);
        }
    });
    let escape = window_event_listener(leptos::ev::keydown, move |event| {
        if event.key() == "Escape" {
            measuring.pad.clear();
            measuring.aim.set(Aim::Next);
        }
    });
    on_cleanup(move || escape.remove());
    // A number belongs to what it was typed for.
    let entering = Memo::new(move |_| Entering::of(measuring.aim.get()));
    Effect::new(move |before: Option<Entering>| {
        let now = entering.get();
        if before.is_some_and(|it| it != now) {
            measuring.pad.clear();
        }
        now
    });
    let begun = Memo::new(move |_| measuring.pad.entry.with(|it| !it.is_empty()));
    Effect::new(move |_| {
        let walls = || measuring.room.with_untracked(|it| it.as_ref().map(|it| it.walls.len()));
        measuring.walls_then.set(if begun.get() { walls() } else { None });
    });
    let subject = Memo::new(move |_| measuring.subject(phone));
    let on_wall = Callback::new(move |wall| {
        if let Aim::Probe(from) = measuring.aim.get_untracked() {
            return measuring.probe(from, End::Wall(wall));
        }
        measuring.pad.clear();
        measuring.aim.update(|it| *it = if it.wall() == Some(wall) { Aim::Next } else { Aim::Wall(wall) });
    });
    let on_corner = Callback::new(move |corner| {
        if let Aim::Probe(from) = measuring.aim.get_untracked() {
            measuring.probe(from, End::Corner(corner));
        }
    });
    let on_floor = Callback::new(move |spot| marks::mark(measuring, spot));
    move || {
        if !present.get() {
            return view! { <Removed what="This room" back=Edit::RemoveRoom { room, removed: false } /> }.into_any();
        }
        view! {
            <main class="place">
                <div class="measure">
                    <div class="measure-sketch">
                        <RoomSketch subject on_wall on_corner on_floor />
                        <Tools room />
                        <Standing />
                    </div>
                    <div class="measure-panel"><HereToo room /><Panel /></div>
                </div>
            </main>
        }
        .into_any()
    }
}

/// Who else is in this room now.
#[component]
fn HereToo(room: RoomId) -> impl IntoView {
    let here = OpenJob::here();
    move || {
        let others = here.others.get();
        let there = others
            .iter()
            .enumerate()
            .filter(|(_, (_, at))| matches!(at, Whereabouts::Room(id) | Whereabouts::Wall(id, _) if *id == room));
        let there: Vec<_> = there.map(|(n, (person, _))| view! { <li class=format!("person p{}", n % 6)><span class="person-dot"></span>{person.name.clone()}" is here too"</li> }).collect();
        (!there.is_empty())
            .then(|| view! { <ul class="people" id="here-too" aria-label="Also in this room now">{there}</ul> })
    }
}
