//! The command line: reads arguments, calls the crates' front doors, prints, and sets the exit code.
//!
//! Exit codes: 0 done; 1 a fault of this program; 2 wrong input or usage, with the remedy in the
//! message. Never here: how anything is measured, weighed or drawn.

mod args;
mod commands;
mod data_folder;
mod failure;
mod progress;
mod table;

use std::process::ExitCode;

use clap::Parser;

use crate::args::{Args, Command};
use crate::failure::Failure;

/// What a fault of this program exits with.
const OUR_FAULT: u8 = 1;

fn main() -> ExitCode {
    // clap prints usage errors itself and exits with 2; help and version exit with 0.
    let args = Args::parse();
    std::panic::set_hook(Box::new(|_| {}));
    let outcome = std::panic::catch_unwind(|| run(args));
    match outcome {
        Ok(Ok(_)) if !table::all_written() => ExitCode::from(2),
        Ok(Ok(code)) => code,
        Ok(Err(failure)) => {
            failure::print(&failure);
            ExitCode::from(failure.exit_code())
        }
        Err(panic) => {
            let words = panic
                .downcast_ref::<String>()
                .map(String::as_str)
                .or_else(|| panic.downcast_ref::<&str>().copied())
                .unwrap_or("no further words");
            failure::print_words(&format!("this is a fault of untorn, not of your files: {words}"));
            ExitCode::from(OUR_FAULT)
        }
    }
}

fn run(args: Args) -> Result<ExitCode, Failure> {
    match args.command {
        Command::Examine(own) => commands::examine::run(&own),
        Command::Calibrate(own) => commands::calibrate::run(&own),
        Command::Desk(own) => commands::desk::run(&own),
        Command::Demo(own) => commands::demo::run(&own),
        Command::Evaluate(own) => commands::evaluate::run(&own),
        Command::Features(own) => commands::features::run(&own),
        Command::Learn(own) => commands::learn::run(&own),
        Command::Library(own) => commands::library::run(&own),
        Command::Outcome(own) => commands::outcome::run(&own),
        Command::Schemas(own) => commands::schemas::run(&own),
    }
}
