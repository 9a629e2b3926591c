//! From a plan's file to machines that can be asked: reads, checks, builds every arrangement.

use std::cell::RefCell;
use std::path::{Path, PathBuf};
use std::rc::Rc;

use super::{Failure, output};
use crate::evaluate::Evaluator;
use crate::input::{Plan, problem_at, read_plan};
use crate::present::json::Origin;
use crate::structure::Machine;
use crate::study::{Balance, balance};

/// A plan with its text and its file's name.
pub(super) struct Loaded {
    pub(super) path: PathBuf,
    pub(super) text: String,
    pub(super) file: String,
    pub(super) plan: Plan,
    /// How well the machines that were made ready are in equilibrium.
    balance: Rc<RefCell<Vec<Balance>>>,
}

/// Where to look when a machine's equilibrium is not found.
const UNBALANCED: &str = "No result can be trusted. Look at the softest and the stiffest values of [block], [joint] and [drive]: one may be wrong by powers of ten.";

/// Reads and checks a plan.
pub(super) fn load(path: &Path) -> Result<Loaded, Failure> {
    Loaded::new(path.into(), output::read(path)?, output::shown(path))
}

impl Loaded {
    /// A plan from its text; `file` is its name for messages.
    pub(super) fn new(path: PathBuf, text: String, file: String) -> Result<Self, Failure> {
        let plan = read_plan(&text, &file).map_err(|p| Failure(p.to_string()))?;
        Ok(Self { path, text, file, plan, balance: Rc::default() })
    }

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

    /// The same file with other tolerances in its plan.
    pub(super) fn with_plan(&self, plan: Plan) -> Self {
        Self { path: self.path.clone(), text: self.text.clone(), file: self.file.clone(), plan, balance: Rc::clone(&self.balance) }
    }

    /// Keeps the worst of each arrangement.
    fn note(&self, found: Balance) {
        let mut all = self.balance.borrow_mut();
        match all.iter_mut().find(|b| b.arrangement == found.arrangement) {
            Some(b) => {
                b.equilibria += found.equilibria;
                (b.residual, b.difference) = (b.residual.max(found.residual), b.difference.max(found.difference));
            }
            None => all.push(found),
        }
    }

    /// Where a result comes from, and how well its machines are in equilibrium.
    pub(super) fn origin(&self) -> Origin {
        Origin {
            plan_sha256: output::sha256(self.text.as_bytes()),
            plan_file: self.path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned()),
            version: env!("CARGO_PKG_VERSION").into(),
            balance: self.balance.borrow().clone(),
        }
    }

    /// The machines made ready for studies, each seen to be in equilibrium.
    pub(super) fn evaluators(&self) -> Result<Vec<Evaluator<'_>>, Failure> {
        let mut list = Vec::new();
        for machine in self.machines()? {
            let name = machine.name();
            let failed = |e: &dyn std::fmt::Display| Failure(format!("{}: arrangement \"{name}\": {e}\n    help: {UNBALANCED}", self.file));
            let evaluator = Evaluator::new(machine, self.plan.study.drag).map_err(|e| failed(&e))?;
            let found = balance(&evaluator, self.plan.study.seed).map_err(|e| failed(&e))?;
            self.note(found);
            list.push(evaluator);
        }
        Ok(list)
    }
}
