//! `untorn demo`: an invented library and offers, laid into a folder and examined.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use casebook::library::Library;
use examination::{CaseFolder, Outcome, Progress, Shelf, SmallCopies};

use crate::args::Demo;
use crate::commands::{now, report};
use crate::data_folder;
use crate::failure::Failure;
use crate::progress::Bar;
use crate::table;

/// Marks a folder as the demo's own, so that laying it anew removes nothing else.
const MARK: &str = "untorn-demo.txt";

/// Runs the command.
pub(crate) fn run(args: &Demo) -> Result<ExitCode, Failure> {
    let from = find_data(args.from.as_deref())?;
    let into = args.into.clone().map_or_else(|| data_folder::within("demo", "--into DIR"), Ok)?;
    let bar = Bar::default();
    let (offers, mut library) = lay_all(&from, &into, &bar)?;
    let shelf = Shelf::take(&mut library, &bar)?;

    let reports = into.join("reports");
    make_folder(&reports)?;
    let mut outcomes = Vec::new();
    bar.begin("examining the offers", offers.len());
    for offer in &offers {
        let folder = CaseFolder::read(std::slice::from_ref(offer))?;
        let outcome = examination::examine(&folder, &shelf, SmallCopies::Made);
        let file = reports.join(format!("{}.html", outcome.examination.case));
        casebook::atomic::write(&file, report(&outcome, &shelf, &folder.case).as_bytes())?;
        library.keep_examination(&outcome.examination, now())?;
        outcomes.push(outcome);
        bar.step();
    }
    bar.end();
    let index = reports.join("index.html");
    casebook::atomic::write(&index, index_page(&outcomes).as_bytes())?;
    print(&outcomes, &shelf, &into, &index);
    Ok(ExitCode::SUCCESS)
}

/// Lays offers and library into the demo's folder for whoever examines them elsewhere.
pub(crate) fn prepare(into: &Path) -> Result<(), Failure> {
    lay_all(&find_data(None)?, into, &Bar::default()).map(drop)
}

fn lay_all(from: &Path, into: &Path, bar: &Bar) -> Result<(Vec<PathBuf>, Library), Failure> {
    let offers = lay(from, into, bar)?;
    let mut library = Library::open(&into.join("library"))?;
    fill(&mut library, from, bar)?;
    Ok((offers, library))
}

/// Whether a folder is one that the demo has laid.
pub(crate) fn is_laid(into: &Path) -> bool {
    into.join(MARK).exists() && into.join("library").is_dir()
}

fn find_data(named: Option<&Path>) -> Result<PathBuf, Failure> {
    let beside = std::env::current_exe().ok().and_then(|exe| Some(exe.parent()?.join("demo")));
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo");
    let places = match named {
        Some(folder) => vec![folder.to_owned()],
        None => beside.into_iter().chain([source]).collect(),
    };
    for place in &places {
        if place.join("offers").is_dir() && place.join("catalogue").is_dir() {
            return Ok(place.clone());
        }
    }
    let looked: Vec<String> = places.iter().map(|place| place.display().to_string()).collect();
    Err(Failure::NoDemo { looked: looked.join(", ") })
}

/// Copies the offers into the demo's folder and gives their places there.
fn lay(from: &Path, into: &Path, bar: &Bar) -> Result<Vec<PathBuf>, Failure> {
    let occupied = fs::read_dir(into).is_ok_and(|mut entries| entries.next().is_some());
    if occupied && !into.join(MARK).exists() {
        return Err(Failure::Occupied(into.display().to_string()));
    }
    make_folder(into)?;
    casebook::atomic::write(
        &into.join(MARK),
        b"Laid by `untorn demo`; everything in it is invented and may be deleted.\n",
    )?;
    let sources = folders_in(&from.join("offers"))?;
    bar.begin("laying the offers", sources.len());
    let mut offers = Vec::new();
    for source in sources {
        let name = source.file_name().map(PathBuf::from).unwrap_or_default();
        let target = into.join("offers").join(name);
        make_folder(&target)?;
        for file in files_in(&source)? {
            let bytes = fs::read(&file)
                .map_err(|source| Failure::Lay { file: file.display().to_string(), source })?;
            casebook::atomic::write(&target.join(file.file_name().unwrap_or_default()), &bytes)?;
        }
        offers.push(target);
        bar.step();
    }
    bar.end();
    Ok(offers)
}

/// Adds the demo's catalogues and specimens to the library; what is there already stays.
fn fill(library: &mut Library, from: &Path, bar: &Bar) -> Result<(), Failure> {
    let mut catalogues = Vec::new();
    for line in folders_in(&from.join("catalogue"))? {
        catalogues.extend(files_in(&line)?);
    }
    let specimens = folders_in(&from.join("specimens"))?;
    bar.begin("filling the library", catalogues.len() + specimens.len());
    for file in catalogues {
        library.add_catalogue(&file, &from.join("faces"), now())?;
        bar.step();
    }
    for folder in specimens {
        library.add_specimen(&folder, now())?;
        bar.step();
    }
    bar.end();
    Ok(())
}

fn index_page(outcomes: &[Outcome]) -> String {
    let thumbs: Vec<Option<dossier::PhotoThumb>> = outcomes
        .iter()
        .map(|outcome| {
            let thumb = outcome.thumbnails.first()?.smaller(240)?;
            Some(dossier::PhotoThumb {
                file: thumb.file,
                media_type: "image/jpeg",
                bytes: thumb.jpeg,
                width: thumb.width,
                height: thumb.height,
                marks: Vec::new(),
            })
        })
        .collect();
    let links: Vec<String> = outcomes.iter().map(|o| format!("{}.html", o.examination.case)).collect();
    let entries: Vec<dossier::SetEntry<'_>> = outcomes
        .iter()
        .zip(&thumbs)
        .zip(&links)
        .map(|((outcome, thumb), link)| dossier::SetEntry {
            examination: &outcome.examination,
            thumb: thumb.as_ref(),
            link: Some(link),
        })
        .collect();
    let generated = now().strftime("%Y-%m-%d %H:%M UTC").to_string();
    dossier::set_report(&dossier::SetInput {
        title: "The demo's offers",
        introduction: "Everything here is invented and rendered: the card line, the packs, the sellers, the photos.",
        entries: &entries,
        generated_at: Some(&generated),
        program: examination::PROGRAM,
    })
}

fn print(outcomes: &[Outcome], shelf: &Shelf, into: &Path, index: &Path) {
    let mut rows = table::new(&["Offer", "Opinion", "Bans for sealed", "Strongest reason", "What to do"]);
    for outcome in outcomes {
        for item in &outcome.examination.items {
            let opinion = &item.opinion;
            let several = outcome.examination.items.len() > 1;
            let name = if several {
                format!("{} · {}", outcome.examination.case, opinion.item)
            } else {
                outcome.examination.case.to_string()
            };
            rows.add_row(vec![
                name,
                opinion.words.clone(),
                table::weight(opinion),
                table::brief(&dossier::strongest_reason(opinion)),
                table::action(&item.decision),
            ]);
        }
        let whole = outcome.examination.offer.as_ref().filter(|_| outcome.examination.items.len() > 1);
        if let Some(offer) = whole {
            rows.add_row(vec![
                format!("{} · the lot", outcome.examination.case),
                "Bought or left as a whole.".to_owned(),
                String::new(),
                table::brief(&offer.decision.reason),
                table::action(&offer.decision),
            ]);
        }
    }
    table::line(&rows.to_string());
    table::line(&shelf.calibration_words());
    table::line(
        "Opinions on items in photographs, not on people; no certificate. Everything in this demo is invented.",
    );
    table::line("");
    table::line(&format!("Report:   {}", index.display()));
    if let Some(first) = outcomes.first() {
        table::line(&format!(
            "Try next: untorn examine {} --library {} --report report.html, then a folder of your own photos.",
            into.join("offers").join(first.examination.case.as_str()).display(),
            into.join("library").display()
        ));
    }
}

fn make_folder(folder: &Path) -> Result<(), Failure> {
    fs::create_dir_all(folder).map_err(|source| Failure::Lay { file: folder.display().to_string(), source })
}

fn folders_in(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    entries(folder, Path::is_dir)
}

fn files_in(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    entries(folder, Path::is_file)
}

fn entries(folder: &Path, wanted: impl Fn(&Path) -> bool) -> Result<Vec<PathBuf>, Failure> {
    let fail = |source| Failure::Lay { file: folder.display().to_string(), source };
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).map_err(fail)? {
        let path = entry.map_err(fail)?.path();
        let hidden = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.'));
        if !hidden && wanted(&path) {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}
