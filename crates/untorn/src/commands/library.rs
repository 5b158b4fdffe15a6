//! `untorn library`: add to, list, check.

use std::path::Path;
use std::process::ExitCode;

use casebook::library::Library;

use crate::args::{Library as Args, LibraryAct};
use crate::commands::now;
use crate::failure::Failure;
use crate::table;

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<ExitCode, Failure> {
    let mut library = Library::open(&args.library.resolve()?)?;
    match &args.act {
        LibraryAct::AddCatalogue { file, faces } => {
            let own = file.parent().unwrap_or(Path::new("."));
            let catalogue = library.add_catalogue(file, faces.as_deref().unwrap_or(own), now())?;
            let count = catalogue.products.len();
            table::line(&format!("{}: {count} products of {}", catalogue.release.name, catalogue.line.name));
        }
        LibraryAct::AddSpecimen { folder } => {
            let specimen = library.add_specimen(folder, now())?;
            table::line(&format!("{}: {} ({})", specimen.id, specimen.product, specimen.state));
        }
        LibraryAct::List => list(&library)?,
        LibraryAct::Check => {
            let faults = library.check()?;
            for fault in &faults {
                table::line(&fault.0);
            }
            if !faults.is_empty() {
                return Ok(ExitCode::from(2));
            }
            table::line("index, photos and audit trail are as they were written");
        }
        LibraryAct::Trail => {
            for entry in library.audit_trail()? {
                table::line(&format!(
                    "{} {} {} {}",
                    entry.number,
                    entry.at,
                    entry.act,
                    table::printable(&entry.subject)
                ));
            }
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn list(library: &Library) -> Result<(), Failure> {
    let specimens = library.specimens()?;
    let mut rows = table::new(&["Product", "Faces", "Makes", "Specimens (known status)"]);
    for catalogue in library.catalogues()? {
        for product in &catalogue.products {
            let Ok(id) = catalogue.product_id(product) else { continue };
            let mut counts = Vec::new();
            for state in casebook::hypothesis::State::ALL {
                let count = specimens
                    .iter()
                    .filter(|s| s.specimen.product == id && s.specimen.state == state)
                    .count();
                if count > 0 {
                    counts.push(format!("{count} {state}"));
                }
            }
            let counts = if counts.is_empty() { "none yet".to_owned() } else { counts.join(", ") };
            rows.add_row(vec![
                id.to_string(),
                product.faces.len().to_string(),
                product.makes.len().to_string(),
                counts,
            ]);
        }
        for never in &catalogue.never_made {
            let name = format!("{}/{}/{}", catalogue.line.id, catalogue.release.id, never.form.word());
            rows.add_row(vec![
                name,
                "–".into(),
                "–".into(),
                format!("never made ({}, {})", never.source, never.date),
            ]);
        }
    }
    table::line(&rows.to_string());
    Ok(())
}
