//! `untorn outcome`: record what an item turned out to be, and list what was recorded.

use std::process::ExitCode;

use casebook::library::Library;
use casebook::names::{NameError, Slug};
use casebook::outcome::{KnownBy, OUTCOME_SCHEMA, OutcomeFile, Refund};
use casebook::specimen::Origin;

use crate::args::{FoundWord, KnownByWord, Outcome, OutcomeAct, RefundWord};
use crate::commands::now;
use crate::failure::Failure;
use crate::table;

/// Runs the command.
pub(crate) fn run(args: &Outcome) -> Result<ExitCode, Failure> {
    let mut library = Library::open(&args.library.resolve()?)?;
    match &args.act {
        OutcomeAct::Record { case, item, found, known_by, on, refund, rendered, note } => {
            let slug = |text: &str| text.parse::<Slug>().map_err(|e: NameError| Failure::Name(e.to_string()));
            let on = on.as_deref().map(|day| day.parse().map_err(|_| Failure::Day(day.to_owned())));
            let outcome = OutcomeFile {
                schema: OUTCOME_SCHEMA.to_owned(),
                case: slug(case)?,
                item: slug(item)?,
                found: found.state(),
                known_by: match known_by {
                    KnownByWord::Opened => KnownBy::Opened,
                    KnownByWord::Specialist => KnownBy::Specialist,
                    KnownByWord::Returned => KnownBy::Returned,
                    KnownByWord::Other => KnownBy::Other,
                },
                on: on.transpose()?,
                refund: refund.map(|word| match word {
                    RefundWord::Granted => Refund::Granted,
                    RefundWord::Refused => Refund::Refused,
                }),
                origin: if *rendered { Origin::Rendered } else { Origin::Physical },
                note: note.clone().unwrap_or_default(),
            };
            let faults = outcome.faults();
            if !faults.is_empty() {
                return Err(Failure::Outcome(faults.join("; ")));
            }
            library.record_outcome(&outcome, now())?;
            table::line(&format!("recorded: case {case}, item {item}: {}", words(&outcome)));
        }
        OutcomeAct::List => {
            let mut rows =
                table::new(&["Case", "Item", "Turned out to be", "Known by", "On", "Refund", "Note"]);
            for outcome in library.outcomes()? {
                rows.add_row(vec![
                    outcome.case.to_string(),
                    outcome.item.to_string(),
                    words(&outcome),
                    outcome.known_by.word().to_owned(),
                    outcome.on.map(|day| day.to_string()).unwrap_or_default(),
                    match outcome.refund {
                        Some(Refund::Granted) => "granted".to_owned(),
                        Some(Refund::Refused) => "refused".to_owned(),
                        None => String::new(),
                    },
                    table::printable(&outcome.note),
                ]);
            }
            table::line(&rows.to_string());
            let confirmed = library.confirmed()?.len();
            table::line(&format!(
                "{confirmed} of these items are of known status and can stand as specimens: \
                 `untorn calibrate --outcomes` takes them along."
            ));
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn words(outcome: &OutcomeFile) -> String {
    outcome.found.map_or_else(|| "still not known".to_owned(), |state| state.to_string())
}

impl FoundWord {
    const fn state(self) -> Option<casebook::hypothesis::State> {
        use casebook::hypothesis::State;
        match self {
            Self::Sealed => Some(State::Sealed),
            Self::Resealed => Some(State::Resealed),
            Self::Counterfeit => Some(State::Counterfeit),
            Self::NeverMade => Some(State::NeverMade),
            Self::Unknown => None,
        }
    }
}
