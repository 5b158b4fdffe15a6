//! The report's drawings and wording, one by one, for pages that are put together elsewhere: the desk
//! shows the same numbers in the same way as the report.
//!
//! In: casebook's values. Out: markup that loads nothing by itself; it needs [`css`] and [`patterns`]
//! on its page. Never here: a page, a link, a form.

use casebook::case::{Prior, RequestState};
use casebook::finding::{Finding, Lack, Reading, Seeing};
use casebook::hypothesis::State;
use casebook::money::Money;
use casebook::names::ProductId;
use casebook::opinion::{Action, Contribution, Opinion, Stance, WeightInterval};
use casebook::picture::{Mark, Plot};
use casebook::specimen::Origin;
use maud::Markup;

use crate::{closing, figure, findings, item, number, page, palette, plot, scale, words};

/// Colours for light and dark (`data-theme` on the root chooses) and the style of drawings.
#[must_use]
pub fn css() -> String {
    format!("{}{}", palette::chosen_css(), page::DRAWING)
}

/// Hatchings that drawings refer to; once a page.
#[must_use]
pub fn patterns() -> Markup {
    page::patterns()
}

/// A page's text without control characters, which strangers' text may hold.
#[must_use]
pub fn clean(page: String) -> String {
    page::clean(page)
}

/// Text that a stranger wrote, kept to its own direction.
#[must_use]
pub fn foreign(text: &str) -> Markup {
    page::foreign(text)
}

/// The scale in bans with every alternative.
#[must_use]
pub fn ladder(opinion: &Opinion) -> Markup {
    scale::ladder(opinion)
}

/// The weight against each alternative, in numbers and words.
#[must_use]
pub fn against(opinion: &Opinion) -> Markup {
    item::against(opinion)
}

/// Which deciding views were read.
#[must_use]
pub fn coverage(opinion: &Opinion) -> Markup {
    item::coverage(opinion)
}

/// How the weights add up: drawing and table.
#[must_use]
pub fn weights(opinion: &Opinion) -> Markup {
    item::weights(opinion)
}

/// What follows from the user's own prior.
#[must_use]
pub fn posterior(opinion: &Opinion, prior: Option<&Prior>) -> Markup {
    item::posterior(opinion, prior)
}

/// What the weights rest on.
#[must_use]
pub fn specimens(opinion: &Opinion, calibration: &str) -> Markup {
    item::specimens(opinion, calibration)
}

/// A reading's value with its uncertainty, or the fact.
#[must_use]
pub fn value(reading: &Reading) -> Markup {
    findings::value(reading)
}

/// What genuine items show, with the value drawn on it.
#[must_use]
pub fn expected(finding: &Finding) -> Markup {
    findings::expected(finding)
}

/// The weight of a finding's group against each alternative.
#[must_use]
pub fn group_weight(finding: &Finding, contributions: &[Contribution]) -> Markup {
    findings::weight(finding, contributions)
}

/// Where a finding was made, in words.
#[must_use]
pub fn place(finding: &Finding) -> String {
    findings::place(finding)
}

/// How well something was seen, in words.
#[must_use]
pub fn seeing(seeing: &Seeing) -> String {
    findings::seeing(seeing)
}

/// Curves over axes.
#[must_use]
pub fn curves(plot: &Plot, alt: &str) -> Markup {
    plot::draw(plot, alt)
}

/// Marks over a picture of that size in pixels; goes into the picture's own positioned box.
#[must_use]
pub fn overlay(width: u32, height: u32, marks: &[Mark]) -> Markup {
    figure::overlay(width, height, marks)
}

/// The same marks in words.
#[must_use]
pub fn mark_list(marks: &[Mark]) -> Markup {
    figure::mark_list(marks)
}

/// A ruler as wide as the picture above it, which is so many mm wide.
#[must_use]
pub fn ruler(width_mm: f64) -> Markup {
    figure::ruler(width_mm)
}

/// What to know before relying on an opinion.
#[must_use]
pub fn cautions(own: &[String]) -> Markup {
    closing::cautions(own)
}

/// The words of the report and what they mean.
#[must_use]
pub fn glossary() -> Markup {
    closing::glossary()
}

/// A state as a reader meets it.
#[must_use]
pub const fn state_phrase(state: State) -> &'static str {
    words::state_phrase(state)
}

/// A word or two for a stance.
#[must_use]
pub fn stance_phrase(stance: Stance) -> &'static str {
    words::stance_phrase(stance)
}

/// What to do, in one line.
#[must_use]
pub fn action_phrase(action: &Action) -> String {
    words::action_phrase(action)
}

/// A lack in two or three words.
#[must_use]
pub const fn lack_phrase(lack: Lack) -> &'static str {
    words::lack_phrase(lack)
}

/// How a request stands.
#[must_use]
pub const fn request_word(state: RequestState) -> &'static str {
    words::request_word(state)
}

/// Whether specimens were things.
#[must_use]
pub const fn origin_word(origin: Origin) -> &'static str {
    words::origin_word(origin)
}

/// A slug as words.
#[must_use]
pub fn spaced(slug: &str) -> String {
    words::spaced(slug)
}

/// The first letter large.
#[must_use]
pub fn capital(text: &str) -> String {
    words::capital(text)
}

/// A product's name made from its path.
#[must_use]
pub fn product_phrase(product: &ProductId) -> String {
    words::product_phrase(product)
}

/// An amount of money.
#[must_use]
pub fn money(money: &Money) -> String {
    number::money(money)
}

/// A weight in bans with its sign.
#[must_use]
pub fn bans(value: f64) -> String {
    number::bans(value)
}

/// A 90 % interval in bans.
#[must_use]
pub fn interval(weight: &WeightInterval) -> String {
    number::interval(weight)
}

/// A number with at most so many significant digits.
#[must_use]
pub fn plain(value: f64, digits: usize) -> String {
    number::plain(value, digits)
}

/// A number with its unit; the unit `1` of pure numbers is left out.
#[must_use]
pub fn with_unit(number: &str, unit: &str) -> String {
    number::with_unit(number, unit)
}

/// A probability in per cent, never shown as certain.
#[must_use]
pub fn percent(share: f64) -> String {
    number::percent(share)
}
