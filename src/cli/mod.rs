//! The command line: arguments, files, progress, exit codes.

mod args;
mod block;
mod budget;
mod check;
mod classes;
mod demo;
mod explain;
mod folder;
mod interrupt;
mod limits;
mod lock;
mod machines;
mod map;
mod output;
mod printed_list;
mod recheck;
mod review;
mod schema;
mod shares;
mod sheet;
mod staging;
mod start;
mod strict_json;
mod study;
mod survey;
mod trace;
mod worst;

use std::io::{IsTerminal, Write};
use std::process::ExitCode;

use clap::Parser;

use args::{Args, Command};

use crate::input::seen;
use crate::present::keep_tables_inside;

/// What went wrong before or while computing: text for stderr. Exit code 2.
#[derive(Debug)]
pub(crate) struct Failure(pub(crate) String);

/// What a command leaves: text for stdout, and whether the machine meets its requirements.
#[derive(Debug)]
pub(crate) struct Done {
    text: String,
    within: bool,
}

/// Of what steers a terminal only these are written, whatever a file or its name holds.
const KEPT: &[char] = &['\n', '\t'];

/// Runs the program. Exit code 0: within; 1: a requirement is not met by the chosen arrangement;
/// 2: the input or the machine is at fault.
#[must_use]
pub fn main() -> ExitCode {
    let args = Args::parse();
    if std::io::stdout().is_terminal()
        && let Some((width, _)) = terminal_size::terminal_size()
    {
        keep_tables_inside(width.0);
    }
    interrupt::watch();
    if args.overwrite {
        folder::allow_overwriting();
    }
    let result = match args.command {
        Command::Demo(a) => demo::run(&a),
        Command::Study(a) => study::run(&a),
        Command::Survey(a) => survey::run(&a),
        Command::Sheet(a) => sheet::run(&a),
        Command::Trace(a) => trace::run(&a),
        Command::Map(a) => map::run(&a),
        Command::Budget(a) => budget::run(&a),
        Command::Shares(a) => shares::run(&a),
        Command::Check(a) => check::run(&a),
        Command::Classes(a) => classes::run(&a),
        Command::Explain(a) => explain::run(&a),
        Command::Worst(a) => worst::run(&a),
        Command::Limits(a) => limits::run(&a),
        Command::Review(a) => review::run(&a),
        Command::Recheck(a) => recheck::run(&a),
        Command::Start(a) => start::run(&a),
        Command::Block(a) => block::run(&a),
        Command::Schema => schema::run(),
    };
    match result {
        Ok(done) => {
            let mut out = anstream::stdout().lock();
            match out.write_all(seen(&done.text, KEPT).as_bytes()).and_then(|()| out.flush()) {
                // A closed pipe is the reader's choice, no failure of ours; a full disk behind a redirection is one.
                Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => {
                    let _ = writeln!(anstream::stderr().lock(), "what was to be printed could not be written: {e}");
                    ExitCode::from(2)
                }
                _ if done.within => ExitCode::SUCCESS,
                _ => ExitCode::from(1),
            }
        }
        Err(Failure(text)) => {
            let _ = writeln!(anstream::stderr().lock(), "{}", seen(&text, KEPT));
            ExitCode::from(2)
        }
    }
}
