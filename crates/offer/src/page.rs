//! A saved web page of an offer: what its schema.org JSON-LD and its OpenGraph marks say.
//!
//! In: the bytes of an HTML file that a stranger made. Out: [`SavedPage`], plain text and numbers. The
//! page is split as browsers split it (`markup`), nothing in it runs, and no address in it is followed. JSON-LD
//! goes before OpenGraph, because it names price, currency and terms one by one.
//! Never here: the pictures beside the page, an opinion, the network.
//!
//! Sources: `schemaorg2025` (Product, Offer, OfferShippingDetails, MerchantReturnPolicy), `opengraph2017`.

use casebook::case::{ConfirmedOutcomes, OfferFacts, ReturnTerms, Seller};
use casebook::money::Money;
use iso_currency::Currency;
use jiff::Timestamp;
use rust_decimal::Decimal;
use serde_json::{Map, Value};

use crate::markup::{pieces, text as text_of};

/// Largest page that is read, bytes. Saved listings with everything inlined reach a few megabytes.
pub const MAX_PAGE_BYTES: usize = 16 << 20;
/// Most JSON-LD blocks that are looked at.
const MOST_BLOCKS: usize = 64;
/// Most objects in them that are looked at.
const MOST_OBJECTS: usize = 20_000;
/// Longest text that is taken, characters.
const MOST_TEXT: usize = 20_000;
/// Longest title or name, characters.
const MOST_LINE: usize = 300;
/// Most picture addresses that are listed.
const MOST_PICTURES: usize = 100;

/// What a page says of the offer.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SavedPage {
    /// The listing's title; empty when the page has none.
    pub title: String,
    /// Its text.
    pub description: String,
    /// The site's name.
    pub venue: Option<String>,
    /// Asking price.
    pub price: Option<Money>,
    /// Shipping rate.
    pub shipping: Option<Money>,
    /// Return terms.
    pub returns: Option<ReturnTerms>,
    /// Name of the seller.
    pub seller: Option<String>,
    /// When the listing ends.
    pub ends: Option<Timestamp>,
    /// Addresses of its pictures, as written; never fetched.
    pub pictures: Vec<String>,
}

/// Why a page cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum PageError {
    /// Too large.
    #[error("{bytes} bytes are over the limit of {} MiB; save the listing's page alone", .limit >> 20)]
    TooLarge {
        /// Its size.
        bytes: usize,
        /// The limit.
        limit: usize,
    },
}

/// Reads a saved page.
///
/// # Input
/// The bytes of an HTML file, UTF-8; other bytes become replacement characters.
///
/// # Result
/// What could be read; fields that the page does not state stay empty.
///
/// # Errors
/// [`PageError::TooLarge`] over [`MAX_PAGE_BYTES`].
///
/// # Example
/// ```
/// let html = br#"<title>x</title><script type="application/ld+json">{"@type":"Product","name":"Pack",
///     "offers":{"@type":"Offer","price":"14.50","priceCurrency":"EUR"}}</script>"#;
/// let page = offer::page::read(html).unwrap();
/// assert_eq!((page.title.as_str(), page.price.unwrap().to_string().as_str()), ("Pack", "14.50 EUR"));
/// ```
pub fn read(html: &[u8]) -> Result<SavedPage, PageError> {
    if html.len() > MAX_PAGE_BYTES {
        return Err(PageError::TooLarge { bytes: html.len(), limit: MAX_PAGE_BYTES });
    }
    let found = pieces(&String::from_utf8_lossy(html));
    let mut page = SavedPage::default();
    let mut left = MOST_OBJECTS;
    let mut objects = Vec::new();
    let texts = found.blocks.iter().take(MOST_BLOCKS);
    let blocks: Vec<Value> = texts.filter_map(|text| serde_json::from_str(text.trim()).ok()).collect();
    for block in &blocks {
        collect(block, &mut objects, &mut left);
    }
    from_json_ld(&objects, &mut page);
    from_open_graph(&found.marks, &mut page);
    if page.title.is_empty() {
        page.title = found.title.as_deref().map(line).unwrap_or_default();
    }
    Ok(page)
}

impl SavedPage {
    /// The page as the offer of a case; `None` when it says nothing.
    #[must_use]
    pub fn facts(self) -> Option<OfferFacts> {
        if self.title.is_empty() && self.description.is_empty() && self.price.is_none() {
            return None;
        }
        let confirmed = ConfirmedOutcomes::default();
        Some(OfferFacts {
            title: self.title,
            description: self.description,
            venue: self.venue,
            price: self.price,
            shipping: self.shipping,
            returns: self.returns,
            seller: self.seller.map(|name| Seller { name, since_year: None, ratings: None, confirmed }),
            bids: Vec::new(),
            captured: None,
            ends: self.ends,
        })
    }
}

/// Every object of a block, outer ones first. Depth is bounded by the JSON parser.
fn collect<'a>(value: &'a Value, objects: &mut Vec<&'a Map<String, Value>>, left: &mut usize) {
    if *left == 0 {
        return;
    }
    *left -= 1;
    match value {
        Value::Array(values) => values.iter().for_each(|value| collect(value, objects, left)),
        Value::Object(map) => {
            objects.push(map);
            map.values().for_each(|value| collect(value, objects, left));
        }
        _ => {}
    }
}

/// Whether an object is of a schema.org type, however its name is written.
fn is(object: &Map<String, Value>, types: &[&str]) -> bool {
    let named = |text: &str| types.contains(&text.rsplit(['/', ':', '#']).next().unwrap_or_default());
    match object.get("@type") {
        Some(Value::String(text)) => named(text),
        Some(Value::Array(all)) => all.iter().filter_map(Value::as_str).any(named),
        _ => false,
    }
}

/// The first object of a value that may be one or a list.
fn first(value: Option<&Value>) -> Option<&Map<String, Value>> {
    match value? {
        Value::Object(map) => Some(map),
        Value::Array(all) => all.iter().find_map(Value::as_object),
        _ => None,
    }
}

fn string(value: Option<&Value>) -> Option<String> {
    match value? {
        Value::String(text) => Some(text.clone()),
        Value::Number(number) => Some(number.to_string()),
        Value::Array(all) => string(all.first()),
        Value::Object(map) => string(map.get("name").or_else(|| map.get("@value"))),
        _ => None,
    }
}

fn from_json_ld(objects: &[&Map<String, Value>], page: &mut SavedPage) {
    let products = || objects.iter().filter(|object| is(object, &["Product", "IndividualProduct"]));
    // Listings show related products too; the offered one comes with its offer.
    let product = products().find(|object| object.contains_key("offers")).or_else(|| products().next());
    if let Some(product) = product {
        page.title = string(product.get("name")).map(|text| line(&text)).unwrap_or_default();
        page.description = string(product.get("description")).map(|text| prose(&text)).unwrap_or_default();
        page.pictures = addresses(product.get("image"));
    }
    let offered = product.and_then(|product| first(product.get("offers")));
    let offer =
        offered.or_else(|| objects.iter().copied().find(|object| is(object, &["Offer", "AggregateOffer"])));
    let Some(offer) = offer else { return };
    let specified = first(offer.get("priceSpecification"));
    let price = |key: &str| {
        string(offer.get(key)).or_else(|| specified.and_then(|specified| string(specified.get(key))))
    };
    page.price = money(price("price").or_else(|| price("lowPrice")), price("priceCurrency"));
    let ends = ["availabilityEnds", "validThrough", "priceValidUntil"];
    page.ends = ends.iter().find_map(|key| instant(&string(offer.get(*key))?));
    page.seller = string(offer.get("seller")).map(|text| line(&text)).filter(|name| !name.is_empty());
    if let Some(rate) =
        first(offer.get("shippingDetails")).and_then(|details| first(details.get("shippingRate")))
    {
        page.shipping = money(string(rate.get("value")), string(rate.get("currency")));
    }
    page.returns = first(offer.get("hasMerchantReturnPolicy")).and_then(returns);
}

fn addresses(value: Option<&Value>) -> Vec<String> {
    let one = |value: &Value| match value {
        Value::String(text) => Some(text.clone()),
        Value::Object(map) => string(map.get("contentUrl").or_else(|| map.get("url"))),
        _ => None,
    };
    match value {
        Some(Value::Array(all)) => all.iter().filter_map(one).take(MOST_PICTURES).collect(),
        Some(value) => one(value).into_iter().collect(),
        None => Vec::new(),
    }
}

fn returns(policy: &Map<String, Value>) -> Option<ReturnTerms> {
    let last = |key: &str| {
        string(policy.get(key)).map(|text| text.rsplit('/').next().unwrap_or_default().to_owned())
    };
    let accepted = match last("returnPolicyCategory")?.as_str() {
        "MerchantReturnNotPermitted" => false,
        "MerchantReturnFiniteReturnWindow" | "MerchantReturnUnlimitedWindow" => true,
        _ => return None,
    };
    let days = string(policy.get("merchantReturnDays")).and_then(|days| days.parse().ok());
    let buyer_pays_postage =
        last("returnFees").is_some_and(|fees| fees == "ReturnFeesCustomerResponsibility");
    Some(ReturnTerms { accepted, days, buyer_pays_postage })
}

fn from_open_graph(marks: &[(String, String)], page: &mut SavedPage) {
    let mark = |name: &str| marks.iter().find(|(own, _)| own == name).map(|(_, content)| content.clone());
    if page.title.is_empty() {
        page.title = mark("og:title").map(|text| line(&text)).unwrap_or_default();
    }
    if page.description.is_empty() {
        page.description = mark("og:description").map(|text| prose(&text)).unwrap_or_default();
    }
    page.venue = mark("og:site_name").map(|text| line(&text)).filter(|name| !name.is_empty());
    if page.price.is_none() {
        let of =
            |what: &str| mark(&format!("product:price:{what}")).or_else(|| mark(&format!("og:price:{what}")));
        page.price = money(of("amount"), of("currency"));
    }
    if page.pictures.is_empty() {
        let pictures =
            marks.iter().filter(|(name, _)| name == "og:image").map(|(_, content)| content.clone());
        page.pictures = pictures.take(MOST_PICTURES).collect();
    }
}

/// An amount as pages write it. Below zero, absurd or without a known currency it is none.
fn money(amount: Option<String>, currency: Option<String>) -> Option<Money> {
    let currency = Currency::from_code(&currency?.trim().to_ascii_uppercase())?;
    let text: String = amount?.chars().filter(|c| !c.is_whitespace()).collect();
    // The standard asks for a full stop; a comma before exactly two digits is a decimal comma.
    let text = match text.rsplit_once(',') {
        Some((whole, cents)) if cents.len() == 2 && !cents.contains('.') => {
            format!("{}.{cents}", whole.replace(['.', ','], ""))
        }
        _ => text.replace(',', ""),
    };
    let amount: Decimal = text.parse().ok()?;
    let sane = amount >= Decimal::ZERO && amount < Decimal::from(1_000_000_000);
    sane.then_some(Money { amount, currency })
}

fn instant(text: &str) -> Option<Timestamp> {
    let text = text.trim();
    text.parse().ok().or_else(|| {
        // A date without a time ends with its day; without a zone UTC is assumed.
        let civil = match text.parse::<jiff::civil::DateTime>() {
            Ok(civil) if text.len() > 10 => civil,
            _ => text.parse::<jiff::civil::Date>().ok()?.at(23, 59, 59, 0),
        };
        jiff::tz::TimeZone::UTC.to_timestamp(civil).ok()
    })
}

/// One line of text: no control characters, no runs of spaces.
fn line(text: &str) -> String {
    let words: Vec<&str> =
        text.split(|c: char| c.is_whitespace() || c.is_control()).filter(|w| !w.is_empty()).collect();
    words.join(" ").chars().take(MOST_LINE).collect()
}

/// Running text; marks of HTML in it, which some sites leave, are taken out.
fn prose(text: &str) -> String {
    let limited: String = text.chars().take(4 * MOST_TEXT).collect();
    let plain = if limited.contains('<') { text_of(&limited) } else { limited };
    let kept = plain.chars().filter(|c| !c.is_control() || *c == '\n').take(MOST_TEXT).collect::<String>();
    kept.trim().to_owned()
}
