//! From a plan's file to machines that can be asked: reads, checks, builds every arrangement.

use std::path::Path;

use super::{Failure, output};
use crate::input::{Plan, problem_at, read_plan};
use crate::structure::Machine;
use crate::study::Evaluator;

/// A plan with its text and its file's name.
pub(super) struct Loaded {
    pub(super) text: String,
    pub(super) file: String,
    pub(super) plan: Plan,
}

/// Reads and checks a plan.
pub(super) fn load(path: &Path) -> Result<Loaded, Failure> {
    let text = output::read(path)?;
    let file = output::shown(path);
    let plan = read_plan(&text, &file).map_err(|p| Failure(p.to_string()))?;
    Ok(Loaded { text, file, plan })
}

impl Loaded {
    /// The machines of the plan, one an arrangement.
    pub(super) fn machines(&self) -> Result<Vec<Machine<'_>>, Failure> {
        let mut list = Vec::new();
        let mut free = Vec::new();
        for (i, arrangement) in self.plan.arrangements.iter().enumerate() {
            match Machine::new(&self.plan, i) {
                Ok(machine) => list.push(machine),
                Err(m) => {
                    let key = format!("arrangement.{}", arrangement.name);
                    free.push(problem_at(&self.text, &self.file, &key, m.to_string(), m.advice));
                }
            }
        }
        match free.split_first_mut() {
            None => Ok(list),
            Some((first, rest)) => {
                first.list.extend(rest.iter().flat_map(|p| p.list.clone()));
                Err(Failure(first.to_string()))
            }
        }
    }

    /// The machines made ready for studies.
    pub(super) fn evaluators(&self) -> Result<Vec<Evaluator<'_>>, Failure> {
        let mut list = Vec::new();
        for machine in self.machines()? {
            let name = machine.name();
            list.push(
                Evaluator::new(machine, self.plan.study.drag)
                    .map_err(|e| Failure(format!("{}: arrangement \"{name}\": {e}", self.file)))?,
            );
        }
        Ok(list)
    }
}
