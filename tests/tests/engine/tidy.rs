//! The house rules that the compiler and clippy cannot hold. Each check answers the lines that break it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use napline_tests::server::workspace;

/// A file and its lines, without those of its unit tests at the end.
struct Source {
    path: String,
    lines: Vec<String>,
}

const CRATES: [&str; 6] = ["shared-model/src", "server/src", "web/src", "xtask/src", "fuzz/src", "tests"];

/// The rule of thumb is 400 lines; a longer file stands here with its reason.
const LONG_FILES: [(&str, &str); 0] = [];

/// Each outside thing is known in one place.
const HOMES: [(&str, &str, &[&str]); 4] = [
    ("geo::", "shared-model/src", &["shared-model/src/polygon"]),
    ("automerge::", "shared-model/src", &["shared-model/src/job/", "shared-model/src/guard"]),
    ("redb::", "server/src", &["server/src/store/"]),
    ("idb::", "web/src", &["web/src/offline"]),
];

/// What the model must not touch: the world, the order of a hash map, and the platform's own sine.
const IMPURE: [&str; 17] = [
    "std::fs",
    "std::net",
    "std::env",
    "std::thread",
    "std::process",
    "std::time",
    "std::io::stdin",
    "println!",
    "HashMap",
    "HashSet",
    ".sin()",
    ".cos()",
    ".tan()",
    ".atan2(",
    ".sin_cos()",
    ".hypot(",
    "new_v4",
];

#[test]
fn long_files_are_few_and_named() {
    let mut found = Vec::new();
    for file in sources() {
        let whole = fs::read_to_string(workspace().join(&file.path)).unwrap();
        let lines = whole.lines().count();
        let named = LONG_FILES.iter().any(|(path, _)| *path == file.path);
        if (lines > 400) != named {
            found.push(format!("{}: {lines} lines, {}", file.path, if named { "no longer long" } else { "over 400" }));
        }
    }
    none(&found);
}

/// So many equal lines in a row, in two files, are a copy: one of them should call the other.
const COPY: usize = 6;

#[test]
fn nothing_is_written_twice() {
    let mut seen: BTreeMap<String, String> = BTreeMap::new();
    let mut found = BTreeSet::new();
    for file in sources().into_iter().filter(|it| !it.path.starts_with("tests")) {
        let trivial = |line: &&str| line.len() < 4 || ["use ", "//", "#["].iter().any(|it| line.starts_with(it));
        let lines: Vec<&str> = file.lines.iter().map(|it| it.trim()).filter(|it| !trivial(it)).collect();
        for block in lines.windows(COPY) {
            let home = seen.entry(block.join("\n")).or_insert_with(|| file.path.clone());
            if *home != file.path {
                found.insert(format!("{} and {home}: {}", file.path, block.first().unwrap_or(&"")));
            }
        }
    }
    none(&found.into_iter().collect::<Vec<_>>());
}

#[test]
fn each_outside_thing_is_known_in_one_place() {
    let mut found = Vec::new();
    for file in sources() {
        for (name, of, homes) in HOMES {
            let at_home = homes.iter().any(|home| file.path.starts_with(home));
            if file.path.starts_with(of) && !at_home {
                found.extend(file.hits(|line| names(line, name)));
            }
        }
    }
    none(&found);
}

#[test]
fn the_model_touches_nothing() {
    let model = sources().into_iter().filter(|it| it.path.starts_with("shared-model"));
    none(&model.flat_map(|it| it.hits(|line| IMPURE.iter().any(|word| line.contains(word)))).collect::<Vec<_>>());
}

#[test]
fn nothing_is_left_behind() {
    let signs = ["TODO", "FIXME", "XXX", "todo!(", "unimplemented!(", "#[ignore", "#[allow(", "dbg!("];
    let line_of = ['-', '=', '#', '*', '~', '─'];
    let banner = |line: &str| {
        let comment = line.trim().strip_prefix("//").map(str::trim_start);
        comment.is_some_and(|it| it.len() > 2 && it.starts_with(line_of) && it.ends_with(line_of))
    };
    let mut found = Vec::new();
    for file in sources().into_iter().filter(|it| !it.path.ends_with("tidy.rs")) {
        found.extend(file.hits(|line| banner(line) || signs.iter().any(|sign| line.contains(sign))));
        if ["/util", "/utils", "/helper", "/helpers", "/common", "/misc"]
            .iter()
            .any(|it| file.path.contains(&format!("{it}.")))
        {
            found.push(format!("{}: name the file for what it does", file.path));
        }
    }
    none(&found);
}

impl Source {
    fn hits(&self, wrong: impl Fn(&str) -> bool) -> Vec<String> {
        let numbered = self.lines.iter().enumerate();
        numbered
            .filter(|(_, line)| wrong(line))
            .map(|(n, line)| format!("{}:{}: {}", self.path, n + 1, line.trim()))
            .collect()
    }
}

#[track_caller]
fn none(found: &[String]) {
    assert!(found.is_empty(), "\n{}", found.join("\n"));
}

fn sources() -> Vec<Source> {
    let mut found = Vec::new();
    for folder in CRATES {
        collect(&workspace().join(folder), &mut found);
    }
    found
}

fn collect(folder: &Path, found: &mut Vec<Source>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(&path, found);
        } else if path.extension().is_some_and(|it| it == "rs") {
            let text = fs::read_to_string(&path).unwrap();
            let lines = text.lines().take_while(|line| *line != "#[cfg(test)]").map(str::to_owned).collect();
            let path = path.strip_prefix(workspace()).unwrap().to_string_lossy().into_owned();
            found.push(Source { path, lines });
        }
    }
}

/// Whether a line names a path of this crate: not as the tail of a longer word.
fn names(line: &str, path: &str) -> bool {
    line.match_indices(path).any(|(at, _)| !line[..at].ends_with(|it: char| it.is_alphanumeric() || it == '_'))
}
