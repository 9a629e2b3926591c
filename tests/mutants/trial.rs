//! One change after the other: the tests that reach it, one after the other, until one notices.

use crate::outcome::Outcome;
use crate::places::Mutant;
use crate::suite::{End, QUICK_S, Suite};
use std::collections::HashMap;
use std::sync::Mutex;

/// Tests up to these times go together, one process for each program, s.
const STEPS_S: [f64; 6] = [QUICK_S, 0.15, 0.6, 2.0, 8.0, 1e9];
/// A test that takes so many times its time, and this much more, s, does not end.
const PATIENCE: (f64, f64) = (5.0, 2.0);
/// Of the tests that noticed the last changes of a function, so many are asked first.
const ASKED_FIRST: usize = 3;

/// Tries changes and remembers which test noticed the last ones of each function.
#[derive(Debug)]
pub(crate) struct Trial<'s> {
    suite: &'s Suite,
    /// Time for the tests of one change, as they take without it, s.
    budget_s: f64,
    noticed: Mutex<HashMap<String, Vec<usize>>>,
}

impl<'s> Trial<'s> {
    pub(crate) fn new(suite: &'s Suite, budget_s: f64) -> Self {
        Self { suite, budget_s, noticed: Mutex::new(HashMap::new()) }
    }

    pub(crate) fn run(&self, mutant: &Mutant) -> Outcome {
        let Some(reaching) = self.suite.reached_by.get(&mutant.id) else { return Outcome::NotReached };
        // The file's own tests go before all others.
        let own = module_of(&mutant.file);
        let (mut reaching, others): (Vec<usize>, Vec<usize>) =
            reaching.iter().copied().partition(|t| self.suite.tests[*t].name.starts_with(&own));
        reaching.extend(others);
        let place = format!("{} {}", mutant.file, mutant.function);
        let before = self.noticed.lock().unwrap().get(&place).cloned().unwrap_or_default();
        let first: Vec<usize> =
            before.iter().rev().copied().filter(|t| reaching.contains(t) && self.seconds(&[*t]) < 2.0).take(ASKED_FIRST).collect();
        let mut groups: Vec<Vec<usize>> = first.iter().map(|t| vec![*t]).collect();
        groups.extend(self.groups(&reaching, &first));
        let mut spent = 0.0;
        for group in groups {
            let ordinary = self.seconds(&group);
            if spent > 0.0 && spent + ordinary > self.budget_s {
                return Outcome::Survived { time_up: true };
            }
            spent += ordinary;
            let (end, _) = self.suite.run(&group, "RAILTRUE_MUTANT", &mutant.id.to_string(), PATIENCE.0 * ordinary + PATIENCE.1);
            if end != End::Passed {
                return self.caught(&place, &group);
            }
        }
        Outcome::Survived { time_up: false }
    }

    fn seconds(&self, tests: &[usize]) -> f64 {
        tests.iter().map(|t| self.suite.tests[*t].seconds).sum()
    }

    /// Tests of about the same time and one program go together.
    fn groups(&self, reaching: &[usize], first: &[usize]) -> Vec<Vec<usize>> {
        let mut groups: Vec<(usize, usize, Vec<usize>)> = Vec::new();
        for test in reaching.iter().filter(|t| !first.contains(t)) {
            let (binary, seconds) = (self.suite.tests[*test].binary, self.suite.tests[*test].seconds);
            let step = STEPS_S.iter().position(|s| seconds <= *s).unwrap_or(STEPS_S.len());
            // From some length on a process costs nothing beside the test.
            let alone = seconds > 0.6 || self.suite.tests[*test].holds_numbers();
            match groups.iter_mut().find(|g| !alone && g.0 == step && g.1 == binary) {
                Some(group) => group.2.push(*test),
                None => groups.push((step, binary, vec![*test])),
            }
        }
        groups.into_iter().map(|g| g.2).collect()
    }

    fn caught(&self, place: &str, group: &[usize]) -> Outcome {
        // The first of a group stands for it; alone in its group it is the one that noticed.
        if group.len() == 1 {
            let mut noticed = self.noticed.lock().unwrap();
            let list = noticed.entry(place.to_string()).or_default();
            list.retain(|t| *t != group[0]);
            list.push(group[0]);
        }
        let test = &self.suite.tests[group[0]];
        let others = if group.len() > 1 { format!(" or one of {} more", group.len() - 1) } else { String::new() };
        Outcome::Caught { program: test.subject.clone(), test: format!("{}{others}", test.name) }
    }
}

/// The path of a file's module, such as `study::limits::`.
fn module_of(file: &str) -> String {
    let path = file.trim_end_matches(".rs").trim_end_matches("/mod");
    format!("{}::", path.replace('/', "::"))
}
