use napline_tests::phone::Phone;

/// Starts a job with 12 ft plain goods, in feet and inches: what the form offers.
pub async fn start_job(phone: &Phone, name: &str) {
    phone.tap("#new-job").await;
    phone.write("#new-job-sheet input[name=name]", name).await;
    phone.tap("#create-job").await;
    phone.see("#add-room").await;
}

/// Opens a job from the list.
pub async fn open_job(phone: &Phone, name: &str) {
    phone.tap(("[data-job]", name)).await;
    phone.see("#add-room").await;
}

/// Adds a room by one of the usual names, and is in it then.
pub async fn add_room(phone: &Phone, name: &str) {
    go(phone, "rooms").await;
    phone.tap("#add-room").await;
    phone.tap(format!("#add-room-sheet [data-name=\"{name}\"]").as_str()).await;
    phone.see("#sketch").await;
}

/// Opens a room from the list.
pub async fn open_room(phone: &Phone, name: &str) {
    go(phone, "rooms").await;
    phone.tap(("[data-room]", name)).await;
    phone.see("#sketch").await;
}

/// Goes to one of the four places.
pub async fn go(phone: &Phone, place: &str) {
    phone.tap(format!(".tab[data-place={place}]").as_str()).await;
    phone.see(format!(".tab[data-place={place}][aria-current=page]").as_str()).await;
}

/// Enters whole feet.
pub async fn feet(phone: &Phone, feet: u32) {
    for digit in feet.to_string().chars() {
        phone.press(&[&digit.to_string()]).await;
    }
    phone.press(&["ft", "enter"]).await;
}

/// Measures a rectangle of whole feet, wall by wall, each turning right, and closes it.
pub async fn rectangle(phone: &Phone, along: u32, across: u32) {
    for wall in [along, across, along, across] {
        feet(phone, wall).await;
    }
    phone.tap("#close-ring").await;
    phone.see(("#standing", "Closed")).await;
}

/// Waits until the server has everything that was entered here.
pub async fn shared(phone: &Phone) {
    phone.see(("#sync-chip", "shared with")).await;
}

/// How many own edits the chip says the server has not confirmed.
pub async fn waiting(phone: &Phone) -> usize {
    let chip = phone.see("#sync-chip").await;
    let count = chip.strip_prefix("waiting: ").and_then(|it| it.split_whitespace().next()?.parse().ok());
    assert!(count.is_some() || chip.starts_with("shared with"), "the chip says {chip:?}");
    count.unwrap_or(0)
}

/// The order length under Cuts.
pub async fn order(phone: &Phone) -> String {
    go(phone, "cuts").await;
    phone.see(".order .figure").await
}

/// How many walls the sketch has.
pub async fn walls(phone: &Phone) -> usize {
    let count = phone.ask("return document.querySelectorAll('#sketch [data-wall]').length").await;
    usize::try_from(count.as_u64().unwrap_or(0)).unwrap_or(0)
}

/// Waits until the sketch has so many walls.
pub async fn see_walls(phone: &Phone, count: usize) {
    let script = format!("return document.querySelectorAll('#sketch [data-wall]').length === {count}");
    phone.wait_for(&format!("{count} walls"), &script).await;
}
