//! `untorn evaluate SET`: what is said of cases whose truth is known, and figures of merit.

use std::path::Path;
use std::process::ExitCode;

use casebook::document::{self, Notation};
use casebook::evaluation::{Comparison, EVALUATION_SCHEMA, EvaluationFile, Share};
use casebook::hypothesis::State;
use casebook::library::Library;
use casebook::names::Slug;
use casebook::opinion::{Action, Examination};
use casebook::truth::TruthFile;
use examination::{CaseFolder, Progress, Shelf, SmallCopies};
use opinion::evaluate;

use crate::args::Evaluate;
use crate::commands::{now, open_shelf};
use crate::failure::Failure;
use crate::progress::Bar;
use crate::table;

/// Runs the command.
pub(crate) fn run(args: &Evaluate) -> Result<ExitCode, Failure> {
    let truth: TruthFile = document::read(&args.set.join("truth.json"))?;
    let (library, shelf) = open_shelf(&args.library.resolve()?, args.calibration.as_deref(), &args.words)?;
    let bar = Bar::default();
    bar.begin("evaluating the set", truth.cases.len());
    let (mut items, mut missing) = (Vec::new(), Vec::new());
    for (case, whole) in &truth.cases {
        let examination = examined(&args.set, case, args.kept, &library, &shelf)?;
        bar.step();
        for (item, truth) in &whole.items {
            let said = examination.as_ref().and_then(|e| e.items.iter().find(|i| i.opinion.item == *item));
            let Some(said) = said else {
                missing.push(format!("{case} {item}"));
                continue;
            };
            let lot = examination.as_ref().and_then(|e| e.offer.as_ref()).map(|o| &o.decision.action);
            let action = match &said.decision.action {
                Action::WithTheLot => lot.unwrap_or(&said.decision.action),
                own => own,
            };
            items.push(evaluate::labelled(case, whole, truth, said, action));
        }
    }
    bar.end();
    if items.is_empty() {
        return Err(Failure::NothingToEvaluate(args.set.display().to_string()));
    }
    let name = args
        .set
        .file_name()
        .map_or_else(|| args.set.display().to_string(), |n| n.to_string_lossy().into_owned());
    let file = EvaluationFile {
        schema: EVALUATION_SCHEMA.to_owned(),
        program: examination::PROGRAM.to_owned(),
        set: name,
        calibration: shelf.calibration().counts(),
        comparisons: evaluate::comparisons(&items),
        slices: evaluate::slices(&items),
        decisions: evaluate::decisions(&items),
        items,
        missing,
    };
    print(&file, &shelf);
    if let Some(into) = &args.into {
        std::fs::create_dir_all(into)
            .map_err(|source| Failure::Lay { file: into.display().to_string(), source })?;
        for (name, svg) in dossier::evaluation_plots(&file) {
            casebook::atomic::write(&into.join(name), svg.as_bytes())?;
        }
        let generated = now().strftime("%Y-%m-%d %H:%M UTC").to_string();
        let page = dossier::evaluation_report(&file, Some(&generated));
        casebook::atomic::write(&into.join("evaluation.html"), page.as_bytes())?;
        table::line(&format!("written: {}", into.join("evaluation.html").display()));
    }
    if let Some(json) = &args.json {
        casebook::atomic::write(json, document::print(&file, Notation::Json)?.as_bytes())?;
        table::line(&format!("written: {}", json.display()));
    }
    Ok(ExitCode::SUCCESS)
}

/// The examination of one case: read from `CASE.json`, taken from the library, or made now.
fn examined(
    set: &Path,
    case: &Slug,
    kept: bool,
    library: &Library,
    shelf: &Shelf,
) -> Result<Option<Examination>, Failure> {
    let file = set.join(format!("{case}.json"));
    if file.is_file() {
        return Ok(Some(document::read(&file)?));
    }
    if kept {
        return Ok(library.latest_examination(case)?);
    }
    let folder = set.join(case.as_str());
    if !folder.is_dir() {
        return Ok(None);
    }
    let folder = CaseFolder::read(&[folder])?;
    Ok(Some(examination::examine(&folder, shelf, SmallCopies::LeftOut).examination))
}

fn words(against: Option<State>) -> String {
    against.map_or_else(|| "all".to_owned(), |state| state.to_string())
}

fn print(file: &EvaluationFile, shelf: &Shelf) {
    let number = |value: Option<f64>| value.map_or("–".to_owned(), |v| format!("{v:.3}"));
    let head = ["Sealed against", "Sealed", "Others", "Cllr", "Least Cllr", "AUC", "EER"];
    let cells = |name: String, c: &Comparison| {
        vec![
            name,
            c.sealed.to_string(),
            c.others.to_string(),
            number(c.cllr),
            number(c.min_cllr),
            number(c.auc),
            c.equal_error_rate.map_or("–".to_owned(), |v| format!("{:.1} %", 100.0 * v)),
        ]
    };
    let mut rows = table::new(&head);
    for c in &file.comparisons {
        rows.add_row(cells(words(c.against), c));
    }
    table::line(&rows.to_string());
    for c in file.comparisons.iter().filter(|c| !c.steps.is_empty()) {
        let mut rows =
            table::new(&["Support, at least", "Said to be sealed, is not", "Said not to be sealed, is"]);
        let share =
            |s: &Share| format!("{} of {} ({:.1} to {:.1} %)", s.count, s.of, 100.0 * s.low, 100.0 * s.high);
        for step in &c.steps {
            rows.add_row(vec![
                opinion::step_words(step.step).to_owned(),
                share(&step.false_sealed),
                share(&step.false_not_sealed),
            ]);
        }
        table::line(&format!("Misleading support, sealed against {}:", words(c.against)));
        table::line(&rows.to_string());
    }
    let mut rows = table::new(&head);
    for slice in &file.slices {
        let name = format!("{} {} ({})", slice.by, slice.part, words(slice.comparison.against));
        rows.add_row(cells(name, &slice.comparison));
    }
    table::line("Parts of the set:");
    table::line(&rows.to_string());
    let d = &file.decisions;
    table::line(&format!(
        "Hidden views: {} of {} end as cannot tell with a request. Bought with a deciding view unread: {}. \
         Not sealed and bought: {}. Sealed, shown whole and passed over: {}.",
        d.hidden_asked, d.hidden, d.bought_unread, d.bought_not_sealed, d.passed_sealed
    ));
    for missing in &file.missing {
        table::line(&format!("no opinion: {missing}"));
    }
    table::line(&shelf.calibration_words());
}
