//! Squeaks and notes: put on the sketch with a finger, listed, and taken off when they are done.

use leptos::ev::SubmitEvent;
use leptos::prelude::*;
use shared_model::ids::{MarkId, RoomId};
use shared_model::job::{Edit, Mark, MarkKind, NewMark, Room, Subject};
use shared_model::length::{Length, Units};
use uuid::Uuid;

use super::measure::Measuring;
use super::photos::Photos;
use crate::drawing::sketch::FloorSpot;
use crate::keypad::keep_focus;
use crate::measuring::{Aim, wall_name};
use crate::sheet::Sheet;
use crate::shown;

/// A finger on the floor of the sketch.
pub fn mark(measuring: Measuring, spot: FloorSpot) {
    match measuring.aim.get_untracked() {
        Aim::Mark(MarkKind::Squeak) => add(measuring, MarkKind::Squeak, Some(spot), String::new()),
        Aim::Mark(MarkKind::Note) => measuring.write_note(Some(spot)),
        _ => {}
    }
}

impl Measuring {
    fn write_note(self, at: Option<FloorSpot>) {
        self.note_at.set(at);
        self.noting.set(true);
    }
}

fn add(measuring: Measuring, kind: MarkKind, spot: Option<FloorSpot>, text: String) {
    let Some(room) = measuring.room.get_untracked() else { return };
    let units = measuring.here.job.with_untracked(|it| it.units);
    let whole = |it: Length| match units {
        Units::Imperial => Length::inches((it.0 + Length::inches(1).0 / 2) / Length::inches(1).0),
        Units::Metric => it,
    };
    let (wall, offset, clear) = match spot {
        Some((wall, offset, clear)) => (Some(wall), whole(offset), whole(clear)),
        None => (None, Length::ZERO, Length::ZERO),
    };
    let mark = NewMark { id: MarkId(Uuid::new_v4()), kind, wall, offset, clear, text };
    let said = if kind == MarkKind::Squeak { "squeak" } else { "note" };
    measuring.here.act(said, vec![Edit::AddMark { room: room.id, mark }]);
}

/// `3' 2" along wall 2, 4' 0" off it`; nothing for what concerns the whole room.
pub fn place_words(room: &Room, mark: &Mark, units: Units) -> Option<String> {
    let wall = wall_name(room, mark.wall?).to_lowercase();
    let show = |it| shown::length(it, units);
    Some(format!("{} along {wall}, {} off it", show(mark.offset), show(mark.clear)))
}

/// What the keypad's line says.
pub const fn words(kind: MarkKind) -> &'static str {
    match kind {
        MarkKind::Squeak => "Tap the sketch where the floor squeaks",
        MarkKind::Note => "Tap the sketch where the note belongs",
    }
}

/// In place of the ring's actions while marks are put.
#[component]
pub fn MarkPanel() -> impl IntoView {
    let measuring: Measuring = expect_context();
    let Measuring { aim, room, here, noting, .. } = measuring;
    let kinds = [(MarkKind::Squeak, "Squeak"), (MarkKind::Note, "Note")].map(|(kind, name)| {
        view! { <button type="button" class="button" data-mark=name.to_lowercase() aria-pressed=move || (aim.get() == Aim::Mark(kind)).to_string() on:click=move |_| aim.set(Aim::Mark(kind))>{name}</button> }
    });
    let whole = move || {
        (aim.get() == Aim::Mark(MarkKind::Note)).then(|| view! {
        <button type="button" class="button" id="note-of-room" aria-haspopup="dialog" on:click=move |_| measuring.write_note(None)>"Of the whole room"</button>
    })
    };
    let lines = Memo::new(move |_| {
        let (room, units) = (room.get(), here.job.get().units);
        room.iter().flat_map(|room| room.marks_in_force().map(|it| Line::of(room, it, units))).collect::<Vec<_>>()
    });
    let any = Memo::new(move |_| lines.with(|it| !it.is_empty()));
    view! {
        {move || any.get().then(|| view! {
            // A line stays the same while others come: a photo may be under way in it.
            <ul class="readings" id="marks"><For each=move || lines.get() key=Line::clone let:it>{it.show(measuring)}</For></ul>
        })}
        <div class="actions" role="group" aria-label="Marks" on:mousedown=keep_focus>
            <button type="button" class="button button-quiet" id="marks-done" on:click=move |_| aim.set(Aim::Next)>"‹ Room"</button>
            {kinds.collect_view()}
            {whole}
        </div>
        <Sheet title="Note" open=noting id="note-sheet"><NoteForm /></Sheet>
    }
}

/// A mark in the list.
#[derive(Clone, PartialEq, Eq, Hash)]
struct Line {
    room: RoomId,
    mark: MarkId,
    words: String,
    place: String,
}

impl Line {
    fn of(room: &Room, mark: &Mark, units: Units) -> Self {
        let place = place_words(room, mark, units).unwrap_or_else(|| "the whole room".to_owned());
        Self { room: room.id, mark: mark.id, words: crate::drawing::mark_words(mark), place }
    }

    fn show(self, measuring: Measuring) -> impl IntoView {
        let Self { room, mark, words, place } = self;
        let done = move |_| {
            let edit = Edit::WithdrawMark { room, mark, withdrawn: true };
            measuring.here.act("mark taken off", vec![edit]);
        };
        view! {
            <li class="reading">
                <strong>{words.clone()}</strong>
                <Photos of=Subject::Mark(room, mark) />
                <span class="quiet">{place}</span>
                <button type="button" class="button button-quiet button-icon" data-take-off="" aria-label=format!("Take off: {words}") on:click=done>"×"</button>
            </li>
        }
    }
}

#[component]
fn NoteForm() -> impl IntoView {
    let measuring: Measuring = expect_context();
    let text = RwSignal::new(String::new());
    let keep = move |event: SubmitEvent| {
        event.prevent_default();
        let said = text.get_untracked().trim().to_owned();
        if !said.is_empty() {
            add(measuring, MarkKind::Note, measuring.note_at.get_untracked(), said);
            measuring.noting.set(false);
        }
    };
    view! {
        <form class="form" on:submit=keep>
            <label class="field">
                <span class="field-label">"What must not be forgotten here"</span>
                <input class="input" name="note" autocomplete="off" maxlength="200" prop:value=text on:input=move |event| text.set(event_target_value(&event)) />
            </label>
            <button type="submit" class="button button-main" id="keep-note">"Keep the note"</button>
        </form>
    }
}
