//! `untorn library`: add to, list, check, exchange.

use std::path::Path;
use std::process::ExitCode;

use casebook::library::Library;
use casebook::library::bundle::Limits;
use examination::ProductMatter;

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
        LibraryAct::Export { product, out } => {
            let packed = library.export_product(product, out, now())?;
            let (specimens, faces) = (packed.specimens.len(), packed.references.len());
            table::line(&format!("{product}: {specimens} specimens, {faces} reference pictures"));
            table::line(&format!("written: {}", out.display()));
        }
        LibraryAct::Import { file } => {
            let said = library.import_bundle(file, &Limits::default(), now())?;
            for added in &said.added {
                table::line(&table::printable(&format!("added: {added}")));
            }
            for kept in &said.kept {
                table::line(&table::printable(&format!("differs, the library's own is kept: {kept}")));
            }
            table::line(&format!("{}: {} the same as before", said.product, said.known));
        }
        LibraryAct::Page { product, out } => {
            let matter = ProductMatter::of(&library, product)?;
            let page = product_page(&matter);
            casebook::atomic::write(out, page.as_bytes())?;
            table::line(&format!("written: {}", out.display()));
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

/// A product's page as HTML.
fn product_page(matter: &ProductMatter) -> String {
    let faces: Vec<dossier::FacePicture> = matter
        .faces
        .iter()
        .map(|(face, small)| dossier::FacePicture {
            face: face.clone(),
            media_type: "image/jpeg",
            bytes: small.jpeg.clone(),
            width: small.width,
            height: small.height,
        })
        .collect();
    let generated = now().strftime("%Y-%m-%d %H:%M UTC").to_string();
    dossier::product_page(&dossier::ProductInput {
        catalogue: &matter.catalogue,
        product: &matter.product,
        id: &matter.id,
        faces: &faces,
        specimens: &matter.specimens,
        measured: &matter.measured,
        generated_at: Some(&generated),
        program: examination::PROGRAM,
    })
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
