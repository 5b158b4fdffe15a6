//! The few pieces of an HTML page that say what is offered, read token by token.
//!
//! In: HTML of a stranger. Out: the title, JSON-LD blocks, `meta` marks; or the text without marks. The
//! tokens are those of browsers; no tree is built, because building one takes time that grows with the
//! square of how deep a hostile page nests. Never here: what the pieces mean.

use std::cell::RefCell;

use html5ever::tendril::StrTendril;
use html5ever::tokenizer::states::RawKind;
use html5ever::tokenizer::{
    BufferQueue, Tag, TagKind, Token, TokenSink, TokenSinkResult, Tokenizer, TokenizerOpts,
};

/// Most pieces of a kind.
const MOST: usize = 1_000;

/// The pieces, in their order.
#[derive(Debug, Default)]
pub(crate) struct Pieces {
    /// Text of the first title.
    pub(crate) title: Option<String>,
    /// Text of every `script` of type `application/ld+json`.
    pub(crate) blocks: Vec<String>,
    /// `property` and `content` of every `meta` that has both.
    pub(crate) marks: Vec<(String, String)>,
    /// Text outside scripts and styles, one piece a run.
    text: Vec<String>,
}

/// What the characters that come belong to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Into {
    Text,
    Title,
    Block,
    Nothing,
}

struct Sink(RefCell<(Pieces, Into)>);

impl TokenSink for Sink {
    type Handle = ();

    fn process_token(&self, token: Token, _: u64) -> TokenSinkResult<()> {
        let mut state = self.0.borrow_mut();
        let (pieces, into) = &mut *state;
        match token {
            Token::TagToken(tag) if tag.kind == TagKind::StartTag => return start(&tag, pieces, into),
            Token::TagToken(_) => *into = Into::Text,
            Token::CharacterTokens(text) => match into {
                Into::Text => pieces.text.push(text.to_string()),
                Into::Title => pieces.title.get_or_insert_default().push_str(&text),
                Into::Block => {
                    if let Some(block) = pieces.blocks.last_mut() {
                        block.push_str(&text);
                    }
                }
                Into::Nothing => {}
            },
            _ => {}
        }
        TokenSinkResult::Continue
    }
}

fn start(tag: &Tag, pieces: &mut Pieces, into: &mut Into) -> TokenSinkResult<()> {
    let value = |name: &str| {
        tag.attrs
            .iter()
            .find(|attribute| &*attribute.name.local == name)
            .map(|attribute| attribute.value.to_string())
    };
    match &*tag.name {
        "script" => {
            let is_block =
                value("type").is_some_and(|kind| kind.trim().eq_ignore_ascii_case("application/ld+json"));
            *into = Into::Nothing;
            if is_block && pieces.blocks.len() < MOST {
                pieces.blocks.push(String::new());
                *into = Into::Block;
            }
            TokenSinkResult::RawData(RawKind::ScriptData)
        }
        "title" => {
            *into = if pieces.title.is_none() { Into::Title } else { Into::Nothing };
            TokenSinkResult::RawData(RawKind::Rcdata)
        }
        "textarea" => {
            *into = Into::Nothing;
            TokenSinkResult::RawData(RawKind::Rcdata)
        }
        "style" | "xmp" | "iframe" | "noembed" | "noframes" => {
            *into = Into::Nothing;
            TokenSinkResult::RawData(RawKind::Rawtext)
        }
        "meta" => {
            if let (Some(property), Some(content)) = (value("property"), value("content"))
                && pieces.marks.len() < MOST
            {
                pieces.marks.push((property.trim().to_ascii_lowercase(), content));
            }
            TokenSinkResult::Continue
        }
        _ => TokenSinkResult::Continue,
    }
}

/// Reads the pieces of a page.
pub(crate) fn pieces(html: &str) -> Pieces {
    let sink = Sink(RefCell::new((Pieces::default(), Into::Text)));
    let input = BufferQueue::default();
    input.push_back(StrTendril::from_slice(html));
    let tokenizer = Tokenizer::new(sink, TokenizerOpts::default());
    let _ = tokenizer.feed(&input);
    tokenizer.end();
    tokenizer.sink.0.into_inner().0
}

/// The text of a piece of HTML, without marks, scripts and styles.
pub(crate) fn text(html: &str) -> String {
    pieces(html).text.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scripts_styles_and_comments_are_no_text() {
        let html = "a<b>b</b><script>x<b></script><style>y</style><!-- z --><p>c &amp; d";
        let words: Vec<String> = text(html).split_whitespace().map(str::to_owned).collect();
        assert_eq!(words, ["a", "b", "c", "&", "d"]);
    }

    #[test]
    fn a_block_ends_where_browsers_end_it() {
        let found = pieces(
            "<script type='application/LD+json'>{\"a\":\"</script>\"}<title>t</title><title>u</title>",
        );
        assert_eq!(found.blocks, ["{\"a\":\""]);
        assert_eq!(found.title.as_deref(), Some("t"));
    }
}
