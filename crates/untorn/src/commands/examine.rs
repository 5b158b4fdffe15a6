//! `untorn examine CASE`: one offer.

use std::process::ExitCode;

use casebook::document::{self, Notation};
use examination::{CaseFolder, DecodedPhotos, SmallCopies};

use crate::args::Examine;
use crate::commands::{now, open_shelf, report};
use crate::failure::{Failure, print_words};
use crate::table;

/// Runs the command. A photo that cannot be read makes the exit code 2; the others are examined.
pub(crate) fn run(args: &Examine) -> Result<ExitCode, Failure> {
    let folder = CaseFolder::read(&args.paths)?;
    let place = args.library.resolve()?;
    // The photos are decoded while the library is opened.
    let (photos, opened) = rayon::join(
        || DecodedPhotos::of(&folder),
        || open_shelf(&place, args.calibration.as_deref(), &args.words),
    );
    let (mut library, shelf) = opened?;
    for item in &folder.case.items {
        if let Some(product) = item.product.as_ref().filter(|id| shelf.products().get(id).is_none()) {
            print_words(&format!(
                "case.toml: item \"{}\" is said to be \"{product}\", which is not covered: the library has no such \
                 product; add its catalogue",
                item.id
            ));
        }
    }
    let copies = if args.report.is_some() { SmallCopies::Made } else { SmallCopies::LeftOut };
    let outcome = examination::examine_decoded(&folder, photos, &shelf, copies);
    // Shown first: whatever fails afterwards, the result is not lost.
    table::examination(&outcome.examination, dossier::strongest_reason);
    if let Some(file) = &args.json {
        casebook::atomic::write(file, document::print(&outcome.examination, Notation::Json)?.as_bytes())?;
    }
    if let Some(file) = &args.report {
        casebook::atomic::write(file, report(&outcome, &shelf, &folder.case).as_bytes())?;
    }
    for file in [&args.report, &args.json].into_iter().flatten() {
        table::line(&format!("written: {}", file.display()));
    }
    if args.forget {
        // Asked for.
    } else if library.is_read_only() {
        let shelf = library.folder().display();
        print_words(&format!(
            "{shelf}: the library cannot be written, so this examination is not kept there"
        ));
    } else {
        library.keep_examination(&outcome.examination, now())?;
    }
    let mut code = ExitCode::SUCCESS;
    for problem in outcome.examination.photos.iter().filter_map(|photo| photo.problem.as_ref()) {
        print_words(problem);
        code = ExitCode::from(2);
    }
    Ok(code)
}
