//! `untorn features SET --out TABLE`: findings with the truth beside them.

use std::process::ExitCode;

use crate::args::Features;
use crate::commands::open_shelf;
use crate::failure::Failure;
use crate::progress::Bar;
use crate::table;

/// Runs the command.
pub(crate) fn run(args: &Features) -> Result<ExitCode, Failure> {
    let (_, shelf) = open_shelf(&args.library.resolve()?, None, &args.words)?;
    let written = examination::features::table(&args.set, &shelf, &Bar::default())?;
    casebook::atomic::write(&args.out, &written.csv)?;
    table::line(&format!("{}: {} findings of {} cases", args.out.display(), written.findings, written.cases));
    Ok(ExitCode::SUCCESS)
}
