//! `untorn learn FOLDER`: a product from hand-held photos of one genuine item.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use casebook::library::Library;
use learn::{Agreement, Asked, LearnFolder, Outcome, learn_folder};

use crate::args::Learn as Args;
use crate::commands::now;
use crate::failure::{Failure, print_words};
use crate::progress::Bar;
use crate::table;

/// Runs the command. A photo that cannot be read makes the exit code 2; the others are used.
pub(crate) fn run(args: &Args) -> Result<ExitCode, Failure> {
    let mut folder = LearnFolder::read(&args.photos)?;
    let told = &mut folder.told;
    if let Some(product) = &args.product {
        told.product = Some(product.clone());
    }
    if let Some(size) = &args.size {
        told.size_mm.clone_from(&size.0);
    }
    told.card |= args.card;
    if args.name.is_some() {
        told.product_name.clone_from(&args.name);
    }
    if args.known_by.is_some() {
        told.known_by.clone_from(&args.known_by);
    }
    if args.make.is_some() {
        told.make.clone_from(&args.make);
    }
    let mut library = Library::open(&args.library.resolve()?)?;
    let into = args.into.clone().unwrap_or_else(|| beside(&args.photos));
    let day = now().strftime("%Y-%m-%d").to_string();
    let asked = Asked { folder: &folder, into: &into, weak: args.weak, day: &day };
    let outcome = learn_folder(&asked, &library, &Bar::default())?;
    print(&outcome);
    let written = &outcome.written;
    if args.into_library {
        library.add_catalogue(&written.catalogue, &written.folder, now())?;
        if let Some(specimen) = &written.specimen {
            library.add_specimen(specimen, now())?;
        }
        table::line(&format!("added to the library: {}", outcome.names.product));
    } else {
        table::line("Look at the pictures, correct catalogue.toml where needed, then:");
        table::line(&format!("  untorn library add-catalogue {}", written.catalogue.display()));
        if let Some(specimen) = &written.specimen {
            table::line(&format!("  untorn library add-specimen {}", specimen.display()));
        }
    }
    let mut code = ExitCode::SUCCESS;
    for problem in &outcome.problems {
        print_words(problem);
        code = ExitCode::from(2);
    }
    Ok(code)
}

/// The folder that is written where none is named: beside the photos'.
fn beside(folder: &Path) -> PathBuf {
    let name = folder.file_name().map_or_else(|| "product".to_owned(), |n| n.to_string_lossy().into_owned());
    folder.parent().unwrap_or(Path::new("")).join(format!("{name}-learned"))
}

fn print(outcome: &Outcome) {
    let learned = &outcome.learned;
    let mut rows = table::new(&["Face", "Size (mm)", "Corners (mm)", "px/mm", "Photos", "Light", "Regions"]);
    for face in &learned.faces {
        rows.add_row(vec![
            face.id.to_string(),
            format!("{:.1} × {:.1}", face.size_mm[0], face.size_mm[1]),
            format!("± {:.2}", face.corner_u_mm),
            format!("{:.1}", face.px_per_mm),
            face.photos.len().to_string(),
            format!("± {:.0} %", 100.0 * face.colour_u.iter().copied().fold(0.0, f64::max)),
            face.regions.len().to_string(),
        ]);
    }
    table::line(&format!("{} ({})", table::printable(&outcome.names.name), outcome.names.product));
    table::line(&rows.to_string());
    if let Some(seal) = &learned.seal {
        if let Some(height) = seal.height_mm {
            table::line(&format!("End seals: {:.2} mm ± {:.2} mm high", height.value, height.u));
        }
        if let Some((direction, pitch)) = seal.ridges {
            let along = direction == casebook::catalogue::RidgeDirection::Along;
            let word = if along { "along" } else { "across" };
            table::line(&format!("Ridges: {word} the pack, {:.3} mm ± {:.3} mm apart", pitch.value, pitch.u));
        }
        match seal.cut {
            Some(None) => table::line("Ends: cut straight"),
            Some(Some((pitch, depth))) => table::line(&format!(
                "Ends: cut in teeth {:.2} mm ± {:.2} mm apart, {:.2} mm ± {:.2} mm deep",
                pitch.value, pitch.u, depth.value, depth.u
            )),
            None => {}
        }
    }
    if let Agreement::Like(make) = &outcome.agreement {
        table::line(&format!("Agrees with the known make {make}; its facts were narrowed."));
    }
    for (title, lines) in [("Please confirm", &learned.confirm), ("Lacking", &learned.lacking)] {
        for line in lines {
            table::line(&table::printable(&format!("{title}: {line}")));
        }
    }
    table::line(&format!("written: {}", outcome.written.folder.display()));
}
