//! Which products an offer's words name.
//!
//! In: title, description, catalogue. Out: [`Claims`]: each release and form named, how surely, and
//! what the catalogue says of it. The title decides; the description helps out only with what the
//! title leaves open.
//! Never here: findings, photos, a weight.

use casebook::case::OfferFacts;
use casebook::catalogue::{Catalogue, Form};
use casebook::names::{ProductId, Slug};

use crate::codes::{self, CodeClaim};
use crate::forms::{self, FormHit};
use crate::names::{self, Hit};
use crate::terms::{self, SaleWord};
use crate::tokens::{Part, Span, Token, tokens};

/// Everything that the words of an offer claim.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Claims {
    /// Products named, in the order of the text. Empty when no known name stands in it.
    pub products: Vec<ProductClaim>,
    /// GTINs quoted.
    pub codes: Vec<CodeClaim>,
    /// What is said about searching, weighing, opening, returns.
    pub sale_words: Vec<SaleWord>,
}

/// One product that the words name.
#[derive(Debug, Clone, PartialEq)]
pub struct ProductClaim {
    /// The line.
    pub line: Slug,
    /// The release, when one is named that the catalogue has.
    pub release: Option<Slug>,
    /// The form, when one is named.
    pub form: Option<Form>,
    /// What the catalogue says of it.
    pub standing: Standing,
    /// How many of it are offered, when the text says so.
    pub count: Option<u32>,
    /// How many smaller packages it is said to hold.
    pub holds: Option<u32>,
    /// How surely the words mean it: 1 when everything is spelt out in the title, less by the share
    /// of mistyped letters, by 0.1 for a form that only the description names, by 0.2 for a release
    /// named without its line. An order of preference, not a probability.
    pub score: f64,
    /// Letters of line and release that differ from the catalogue's spelling.
    pub typing_errors: usize,
    /// Whether the line is named too.
    pub line_named: bool,
    /// Whether the form stands only in the description.
    pub form_from_description: bool,
    /// Where the release (or else the line) is named.
    pub span: Span,
    /// The words there, as written.
    pub words: String,
}

/// What the catalogue says of a release in a form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    /// It was sold so: the products, usually one.
    Catalogued(Vec<ProductId>),
    /// It is known never to have been sold so.
    NeverMade {
        /// Where that is known from.
        source: String,
        /// When the source said so.
        date: String,
    },
    /// The catalogue knows the release and says nothing of this form.
    FormNotListed,
    /// The line is known; no release that the catalogue has is named.
    NoRelease,
    /// The release is known; the words name no form.
    NoForm,
}

/// Names beyond this many in one text are ignored: no offer means so many products.
const MAX_NAMES: usize = 64;

/// A release or a bare line, found.
#[derive(Debug, Clone)]
struct Named<'a> {
    line: &'a Slug,
    release: Option<&'a Catalogue>,
    hit: Hit,
    line_hit: Option<Hit>,
}

/// Reads the claims of an offer's words.
///
/// # Input
/// `text`: title and description of any length; the first thousands of words are read.
/// `catalogues`: any number, of any lines.
///
/// # Result
/// Every known line and release named in the title (in the description when the title names none),
/// each with its form. An unknown name gives no claim: not covered is not never made.
#[must_use]
pub fn claims(text: &OfferFacts, catalogues: &[Catalogue]) -> Claims {
    let title = tokens(&text.title);
    let description = tokens(&text.description);
    let mut codes = codes::find(&title, Part::Title, catalogues);
    codes.extend(codes::find(&description, Part::Description, catalogues));
    let mut sale_words = terms::find(&title, &text.title, Part::Title);
    sale_words.extend(terms::find(&description, &text.description, Part::Description));

    let mut part = Part::Title;
    let mut named = find_names(&title, catalogues);
    if named.iter().all(|each| each.release.is_none()) {
        let below = find_names(&description, catalogues);
        if below.iter().any(|each| each.release.is_some()) || named.is_empty() {
            (part, named) = (Part::Description, below);
        }
    }
    let (words, source) = match part {
        Part::Title => (&title, &text.title),
        Part::Description => (&description, &text.description),
    };
    let title_forms = forms::find(&title);
    let own_forms = if part == Part::Title { title_forms.clone() } else { forms::find(words) };
    let far_forms = match part {
        Part::Title => forms::find(&description),
        Part::Description => title_forms,
    };
    let mut products: Vec<ProductClaim> = Vec::new();
    for (at, each) in named.iter().enumerate() {
        let mut forms = forms_of(at, &named, &own_forms);
        let mut borrowed = false;
        if forms.is_empty() && own_forms.is_empty() {
            forms = settle_borrowed(&far_forms);
            borrowed = part == Part::Title;
        }
        let forms: Vec<Option<FormHit>> =
            if forms.is_empty() { vec![None] } else { forms.into_iter().map(Some).collect() };
        for form in forms {
            let claim = claim(each, form, borrowed, words, source, part, catalogues);
            let twin = products.iter_mut().find(|other| {
                (&other.line, &other.release, other.form) == (&claim.line, &claim.release, claim.form)
            });
            match twin {
                Some(other) if other.score < claim.score => *other = claim,
                Some(_) => {}
                None => products.push(claim),
            }
        }
    }
    // "Brass Estuary booster box Brass Estuary": the bare repetition says nothing more.
    let complete: Vec<Option<Slug>> =
        products.iter().filter(|p| p.form.is_some()).map(|p| p.release.clone()).collect();
    products.retain(|p| p.form.is_some() || !complete.contains(&p.release));
    Claims { products, codes, sale_words }
}

/// Releases, and lines that no release stands beside.
fn find_names<'a>(text: &[Token], catalogues: &'a [Catalogue]) -> Vec<Named<'a>> {
    let mut lines: Vec<(&Slug, Hit)> = Vec::new();
    let mut releases: Vec<Named<'a>> = Vec::new();
    let mut seen: Vec<&Slug> = Vec::new();
    for catalogue in catalogues {
        let line = &catalogue.line;
        if !seen.contains(&&line.id) {
            seen.push(&line.id);
            let spellings = names::spellings(&line.id, &line.name, &line.aliases);
            lines.extend(names::find(text, &spellings).into_iter().map(|hit| (&line.id, hit)));
        }
        let release = &catalogue.release;
        let spellings = names::spellings(&release.id, &release.name, &release.aliases);
        for hit in names::find(text, &spellings) {
            if !is_only_compared(&hit, text) {
                releases.push(Named { line: &line.id, release: Some(catalogue), hit, line_hit: None });
            }
        }
    }
    // Overlapping releases: the best reading of a place wins; equally good ones all stay.
    let all = releases.clone();
    releases.retain(|own| {
        !all.iter().any(|other| {
            other.hit.overlaps(&own.hit)
                && (other.hit.errors * own.hit.letters, own.hit.letters)
                    < (own.hit.errors * other.hit.letters, other.hit.letters)
        })
    });
    let mut named: Vec<Named<'a>> = Vec::new();
    for mut release in releases {
        release.line_hit = lines.iter().find(|(id, _)| *id == release.line).map(|(_, hit)| hit.clone());
        // A one-word name of few letters is an everyday word unless its line stands with it.
        if release.line_hit.is_none() && release.hit.letters < 8 && release.hit.to - release.hit.from == 1 {
            continue;
        }
        named.push(release);
    }
    // A release of the same name in two lines: the line that is named decides.
    let clear: Vec<(usize, usize)> =
        named.iter().filter(|n| n.line_hit.is_some()).map(|n| (n.hit.from, n.hit.to)).collect();
    named.retain(|n| n.line_hit.is_some() || !clear.contains(&(n.hit.from, n.hit.to)));
    for (line, hit) in lines {
        let has_release = named.iter().any(|n| n.line == line);
        let inside = named.iter().any(|n| n.hit.overlaps(&hit));
        if !has_release && !inside {
            named.push(Named { line, release: None, line_hit: Some(hit.clone()), hit });
        }
    }
    named.sort_by(|a, b| (a.hit.from, a.hit.to, a.line).cmp(&(b.hit.from, b.hit.to, b.line)));
    named.truncate(MAX_NAMES);
    named
}

/// "like Brass Estuary", "not Night Dredge": named to be found, not offered.
fn is_only_compared(hit: &Hit, text: &[Token]) -> bool {
    const COMPARED: [&str; 9] =
        ["like", "similar", "than", "not", "compare", "vs", "versus", "unlike", "nor"];
    (hit.from.saturating_sub(3)..hit.from).any(|at| COMPARED.contains(&text[at].text.as_str()))
}

/// The forms that belong to the name at `at`: those that follow it up to the next name; those
/// before the first name when nothing follows any.
fn forms_of(at: usize, named: &[Named<'_>], forms: &[FormHit]) -> Vec<FormHit> {
    let free: Vec<&FormHit> =
        forms.iter().filter(|f| !named.iter().any(|n| n.hit.from < f.to && f.from < n.hit.to)).collect();
    let own = &named[at].hit;
    let next = named[at + 1..].iter().map(|n| n.hit.from).find(|from| *from >= own.to).unwrap_or(usize::MAX);
    let is_first = !named[..at].iter().any(|n| n.hit.to <= own.from);
    let first_from = named.first().map_or(0, |n| n.hit.from);
    let following: Vec<&FormHit> =
        free.iter().copied().filter(|f| f.from >= own.to && f.to <= next).collect();
    let leading: Vec<&FormHit> = free.iter().copied().filter(|f| f.to <= first_from).collect();
    let last_has_own = named.last().is_some_and(|n| free.iter().any(|f| f.from >= n.hit.to));
    let chosen: Vec<&FormHit> = if !leading.is_empty() && !last_has_own {
        // "booster box Brass Estuary, pack Night Dredge": each form stands before its name. One
        // form before all names goes for all.
        let before: Vec<&FormHit> = free.iter().copied().filter(|f| f.to <= own.from).collect();
        let back = named[..at].iter().map(|n| n.hit.to).filter(|to| *to <= own.from).max().unwrap_or(0);
        let near: Vec<&FormHit> = before.iter().copied().filter(|f| f.from >= back).collect();
        if near.is_empty() { leading } else { near }
    } else if following.is_empty() {
        // "Brass Estuary and Night Dredge booster packs": what follows the last name goes for all.
        let after: Vec<&FormHit> = free.iter().copied().filter(|f| f.from >= own.to).collect();
        if after.is_empty() && is_first { leading } else { after.into_iter().take(1).collect() }
    } else if is_first && following.iter().all(|f| leading.iter().any(|l| l.form == f.form)) {
        leading
    } else {
        following
    };
    let mut out: Vec<FormHit> = Vec::new();
    for form in chosen {
        match out.iter_mut().find(|f| f.form == form.form) {
            Some(twin) => {
                twin.count = twin.count.or(form.count);
                twin.holds = twin.holds.or(form.holds);
            }
            None => out.push(form.clone()),
        }
    }
    out
}

/// A description mentions many things; its form counts only when it names a single one.
fn settle_borrowed(forms: &[FormHit]) -> Vec<FormHit> {
    match forms {
        [first, rest @ ..] if rest.iter().all(|f| f.form == first.form) => vec![first.clone()],
        _ => Vec::new(),
    }
}

#[allow(clippy::too_many_arguments, reason = "one private place puts the pieces together")]
fn claim(
    named: &Named<'_>,
    form: Option<FormHit>,
    borrowed: bool,
    words: &[Token],
    source: &str,
    part: Part,
    catalogues: &[Catalogue],
) -> ProductClaim {
    let (start, end) = (words[named.hit.from].start, words[named.hit.to - 1].end);
    let line_likeness = named.line_hit.as_ref().map_or(0.8, Hit::likeness);
    let line_errors = named.line_hit.as_ref().map_or(0, |hit| hit.errors);
    let release_errors = if named.release.is_some() { named.hit.errors } else { 0 };
    let likeness = if named.release.is_some() { named.hit.likeness() } else { 1.0 };
    let form_from_description = borrowed && form.is_some();
    let score = line_likeness * likeness * if form_from_description { 0.9 } else { 1.0 };
    ProductClaim {
        line: named.line.clone(),
        release: named.release.map(|c| c.release.id.clone()),
        form: form.as_ref().map(|f| f.form),
        standing: standing(named, form.as_ref().map(|f| f.form), catalogues),
        count: form.as_ref().and_then(|f| f.count),
        holds: form.as_ref().and_then(|f| f.holds),
        score,
        typing_errors: line_errors + release_errors + usize::from(form.is_some_and(|f| f.mistyped)),
        line_named: named.line_hit.is_some(),
        form_from_description,
        span: Span { part, start, end },
        words: source.get(start..end).unwrap_or_default().to_owned(),
    }
}

fn standing(named: &Named<'_>, form: Option<Form>, catalogues: &[Catalogue]) -> Standing {
    let Some(own) = named.release else { return Standing::NoRelease };
    let Some(form) = form else { return Standing::NoForm };
    look_up(&own.line.id, &own.release.id, form, catalogues)
}

/// What the catalogue says of a release in a form. One release may be spread over several files.
fn look_up(line: &Slug, release: &Slug, form: Form, catalogues: &[Catalogue]) -> Standing {
    let files = || catalogues.iter().filter(|c| c.line.id == *line && c.release.id == *release);
    let made: Vec<ProductId> = files()
        .flat_map(|c| c.products.iter().filter(|p| p.form == form).filter_map(|p| c.product_id(p).ok()))
        .collect();
    if !made.is_empty() {
        return Standing::Catalogued(made);
    }
    match files().flat_map(|c| &c.never_made).find(|never| never.form == form) {
        Some(never) => Standing::NeverMade { source: never.source.clone(), date: never.date.to_string() },
        None => Standing::FormNotListed,
    }
}
