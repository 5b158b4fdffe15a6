//! `untorn desk`: the workbench in the browser, on this machine's own address.

use std::process::{Command, ExitCode, Stdio};

use crate::args::Desk as Args;
use crate::commands::{demo, now};
use crate::data_folder;
use crate::failure::{Failure, print_words};
use crate::table;

/// Runs the command until it is interrupted.
pub(crate) fn run(args: &Args) -> Result<ExitCode, Failure> {
    let named = args.data.clone();
    let data = if args.demo {
        let into = named.map_or_else(|| data_folder::within("demo", "--data DIR"), Ok)?;
        // Laid once: what was changed at the desk stays.
        if !demo::is_laid(&into) {
            demo::prepare(&into)?;
        }
        into
    } else {
        named.map_or_else(|| data_folder::within("", "--data DIR"), Ok)?
    };
    let desk = desk::Desk::open(&data, args.port, now)?;
    let address = desk.address();
    table::line(&format!("The desk answers at {address} (on this machine only)."));
    table::line(&format!("Data: {}. End it with Ctrl-C; nothing is lost.", data.display()));
    if args.open && !open_in_browser(&address) {
        print_words(&format!("no browser could be started; open {address} yourself"));
    }
    desk.serve()?;
    Ok(ExitCode::SUCCESS)
}

/// Asks the system to show an address. The address is ours and holds nothing but digits and dots.
fn open_in_browser(address: &str) -> bool {
    let (program, first): (&str, &[&str]) = if cfg!(target_os = "macos") {
        ("open", &[])
    } else if cfg!(windows) {
        ("explorer", &[])
    } else {
        ("xdg-open", &[])
    };
    let quiet = || Stdio::null();
    Command::new(program)
        .args(first)
        .arg(address)
        .stdin(quiet())
        .stdout(quiet())
        .stderr(quiet())
        .spawn()
        .is_ok()
}
