//! The program: arguments in, exit code out. Everything happens in the library's `cli`.

use std::process::ExitCode;

fn main() -> ExitCode {
    railtrue::cli::main()
}
