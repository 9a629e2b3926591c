//! What became of each change: kept line by line while a run goes on, so that it can be taken up again.

use crate::Failed;
use serde_json::{Value, json};
use std::collections::HashMap;
use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::Path;
use std::sync::Mutex;

/// What became of a change.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Outcome {
    /// A test failed, or did not end; its program and name.
    Caught { program: String, test: String },
    /// Every test that reaches it passed, or the time for it was up.
    Survived { time_up: bool },
    /// No test reaches it.
    NotReached,
}

/// The outcomes by key, and the file that they are added to.
#[derive(Debug)]
pub(crate) struct Outcomes {
    pub(crate) by_key: HashMap<String, Outcome>,
    file: Mutex<File>,
}

impl Outcomes {
    /// Reads what a file holds, the last line of a key counts, and goes on there.
    pub(crate) fn open(path: &Path) -> Result<Self, Failed> {
        let text = std::fs::read_to_string(path).unwrap_or_default();
        let by_key = text.lines().filter_map(|l| serde_json::from_str::<Value>(l).ok()).filter_map(|v| read(&v)).collect();
        Ok(Self { by_key, file: Mutex::new(OpenOptions::new().create(true).append(true).open(path)?) })
    }

    /// Adds a line to the file.
    pub(crate) fn add(&self, key: &str, outcome: &Outcome) {
        let line = match outcome {
            Outcome::Caught { program, test } => json!({"key": key, "is": "caught", "program": program, "test": test}),
            Outcome::Survived { time_up } => json!({"key": key, "is": "survived", "time_up": time_up}),
            Outcome::NotReached => json!({"key": key, "is": "not reached"}),
        };
        let written = writeln!(self.file.lock().unwrap(), "{line}");
        if let Err(e) = written {
            println!("{key}: {e}");
        }
    }
}

fn read(v: &Value) -> Option<(String, Outcome)> {
    let text = |name: &str| v[name].as_str().map(ToString::to_string);
    let outcome = match v["is"].as_str()? {
        "caught" => Outcome::Caught { program: text("program")?, test: text("test")? },
        "survived" => Outcome::Survived { time_up: v["time_up"] == true },
        _ => Outcome::NotReached,
    };
    Some((text("key")?, outcome))
}
