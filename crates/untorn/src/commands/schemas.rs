//! `untorn schemas DIR`: the JSON Schemas of all documents.

use std::fs;
use std::process::ExitCode;

use crate::args::Schemas;
use crate::failure::Failure;
use crate::table;

/// Runs the command.
pub(crate) fn run(args: &Schemas) -> Result<ExitCode, Failure> {
    fs::create_dir_all(&args.into)
        .map_err(|source| Failure::Lay { file: args.into.display().to_string(), source })?;
    for (name, text) in casebook::schemas::all() {
        let file = args.into.join(name);
        casebook::atomic::write(&file, text.as_bytes())?;
        table::line(&file.display().to_string());
    }
    Ok(ExitCode::SUCCESS)
}
