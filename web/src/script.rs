//! What a script on the page may call: the engine on open files, as `napline` does on a computer.

use shared_model::takeoff::file;
use wasm_bindgen::prelude::*;

/// The takeoff of a job file (JSON), as JSON: the same bytes that `napline takeoff JOBFILE --json` prints.
///
/// # Errors
/// Names the place in the file that is no job.
#[wasm_bindgen(js_name = takeoffOfFile)]
pub fn takeoff_of_file(job: &str) -> Result<String, JsError> {
    Ok(file::run(job)?.json()?)
}
