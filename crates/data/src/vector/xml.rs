//! XML as KML and GPX need it: decoded, walked without recursion, and with nothing in it that could grow.
//!
//! Entities that a document declares itself are refused, not expanded, and nothing outside the document is ever
//! fetched. Names are given without their prefix: both formats are told apart by their root.

use crate::error::{LoadError, LoadErrorKind};
use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE};
use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};
use std::borrow::Cow;
use std::path::Path;

const REMEDY: &str = "save or download the file again";
/// Elements inside one another; real files have some ten levels.
const DEEPEST: usize = 256;
/// How far into a file its declaration may reach, bytes.
const HEAD: usize = 1_024;

/// What walks through a document meets.
pub(crate) trait Visitor {
    /// An element begins.
    ///
    /// # Errors
    /// When the visitor refuses the document.
    fn open(&mut self, path: &Path, name: &str, attributes: &Attributes<'_>) -> Result<(), LoadError>;
    /// An element ends.
    fn close(&mut self, name: &str);
    /// Where text is gathered, references resolved; the visitor empties it.
    fn text(&mut self) -> &mut String;
}

/// The attributes of an element.
pub(crate) struct Attributes<'a>(&'a BytesStart<'a>);

impl Attributes<'_> {
    /// The value of an attribute by its name without prefix.
    pub(crate) fn get(&self, name: &str) -> Option<String> {
        self.0
            .attributes()
            .flatten()
            .find(|a| a.key.local_name().as_ref() == name.as_bytes())
            .and_then(|a| a.normalized_value(XmlVersion::Implicit1_0).ok().map(Cow::into_owned))
    }
}

/// The text of a document in whatever encoding it declares.
///
/// # Errors
/// When the bytes are not text in that encoding, or the encoding is not known.
pub(crate) fn decode(path: &Path, bytes: &[u8]) -> Result<String, LoadError> {
    let error = |kind, problem: String| LoadError::new(path, kind, problem, "save it again as UTF-8");
    let encoding = if let Some((marked, _)) = Encoding::for_bom(bytes) {
        marked
    } else if bytes.starts_with(b"<\0") {
        UTF_16LE
    } else if bytes.starts_with(b"\0<") {
        UTF_16BE
    } else {
        match declared(bytes) {
            None => UTF_8,
            Some(label) => Encoding::for_label(label.as_bytes())
                .map(|e| if e == UTF_16LE || e == UTF_16BE { UTF_8 } else { e })
                .ok_or_else(|| {
                    let label = super::columns::shortened(&label);
                    error(LoadErrorKind::Unsupported, format!("its encoding “{label}” is not known"))
                })?,
        }
    };
    let (text, _, broken) = encoding.decode(bytes);
    if broken {
        let good = text.find('\u{fffd}').unwrap_or(0);
        let line = text[..good].matches('\n').count() + 1;
        let problem = format!("it is not {} text", encoding.name());
        return Err(error(LoadErrorKind::Corrupt, problem).at(format!("line {line}")));
    }
    Ok(text.into_owned())
}

/// The encoding that the declaration states.
fn declared(bytes: &[u8]) -> Option<String> {
    let head = bytes.get(..HEAD).unwrap_or(bytes);
    let head: String = head.iter().map(|&b| if b.is_ascii() { char::from(b) } else { '?' }).collect();
    let declaration = head.trim_start().strip_prefix("<?xml")?.split("?>").next()?.to_owned();
    let rest = declaration.split("encoding").nth(1)?.trim_start().strip_prefix('=')?.trim_start().to_owned();
    let quote = rest.chars().next().filter(|c| matches!(c, '"' | '\''))?;
    rest[1..].split(quote).next().map(|label| label.trim().to_owned())
}

/// The name of the root element without its prefix; `None` where the head of the file has none.
pub(crate) fn root(bytes: &[u8]) -> Option<String> {
    let encoding = Encoding::for_bom(bytes).map(|(e, _)| e).or(match bytes {
        [b'<', 0, ..] => Some(UTF_16LE),
        [0, b'<', ..] => Some(UTF_16BE),
        _ => None,
    });
    let text = encoding.map_or_else(|| String::from_utf8_lossy(bytes), |e| e.decode(bytes).0);
    let mut rest = text.trim_start_matches('\u{feff}').trim_start();
    loop {
        rest = rest.trim_start().strip_prefix('<')?;
        if let Some(comment) = rest.strip_prefix("!--") {
            rest = comment.split_once("-->")?.1;
        } else if rest.starts_with('?') {
            rest = rest.split_once("?>")?.1;
        } else if rest.starts_with('!') {
            let end = rest.find(['[', '>'])?;
            let closing = if rest[end..].starts_with('[') { "]>" } else { ">" };
            // The subset of a bomb may be longer than the head; its root stands in the declaration, too.
            let name = rest[..end].split_whitespace().nth(1).map(str::to_owned);
            match rest.split_once(closing) {
                Some((_, after)) if !after.trim().is_empty() => rest = after,
                _ => return name,
            }
        } else {
            let name: String = rest.chars().take_while(|c| !c.is_whitespace() && !matches!(c, '>' | '/')).collect();
            return Some(name.rsplit(':').next().unwrap_or_default().to_owned());
        }
    }
}

/// Walks a document from its first element to its last.
///
/// # Errors
/// When it is no well-formed XML, ends too early, declares entities, is nested too deeply, or the visitor refuses it.
pub(crate) fn walk(path: &Path, text: &str, visitor: &mut dyn Visitor) -> Result<(), LoadError> {
    let mut reader = Reader::from_str(text);
    reader.config_mut().allow_dangling_amp = true;
    let mut open: Vec<String> = Vec::new();
    let line = |at: u64| {
        let at = usize::try_from(at).unwrap_or(usize::MAX).min(text.len());
        format!("line {}", text.as_bytes()[..at].split(|b| *b == b'\n').count())
    };
    let error = |kind, problem: String, at: u64| LoadError::new(path, kind, problem, REMEDY).at(line(at));
    loop {
        let from = reader.buffer_position();
        let event = match reader.read_event() {
            Ok(event) => event,
            Err(e) => {
                let at = reader.error_position();
                let cut = at.saturating_add(1) >= text.len() as u64 || matches!(e, quick_xml::Error::Syntax(_));
                let (kind, problem) = if cut && !open.is_empty() {
                    (LoadErrorKind::Truncated, "the text ends before the XML does".to_owned())
                } else {
                    (LoadErrorKind::Corrupt, format!("it is not well-formed XML ({e})"))
                };
                return Err(error(kind, problem, at));
            }
        };
        match event {
            Event::Start(start) => {
                if open.len() >= DEEPEST {
                    let problem = format!("its elements are nested deeper than {DEEPEST} levels");
                    return Err(error(LoadErrorKind::Corrupt, problem, from));
                }
                let name = local(&start);
                visitor.open(path, &name, &Attributes(&start))?;
                open.push(name);
            }
            Event::Empty(start) => {
                let name = local(&start);
                visitor.open(path, &name, &Attributes(&start))?;
                visitor.close(&name);
            }
            Event::End(_) => {
                // The reader has matched the names.
                let name = open.pop().unwrap_or_default();
                visitor.close(&name);
            }
            Event::Text(part) => visitor.text().push_str(&String::from_utf8_lossy(&part)),
            Event::CData(part) => visitor.text().push_str(&String::from_utf8_lossy(&part)),
            Event::GeneralRef(reference) => {
                let name = String::from_utf8_lossy(&reference).into_owned();
                match reference.resolve_char_ref() {
                    Ok(Some(c)) => visitor.text().push(c),
                    _ => match quick_xml::escape::resolve_predefined_entity(&name) {
                        Some(meaning) => visitor.text().push_str(meaning),
                        // HTML's own names stand in descriptions now and then.
                        None => visitor.text().extend(["&", &name, ";"]),
                    },
                }
            }
            Event::DocType(declaration) => {
                let declaration = String::from_utf8_lossy(&declaration);
                if declaration.contains("<!ENTITY") || declaration.contains('[') {
                    let problem = "it declares entities of its own, which can make a small file endless";
                    let remedy = "remove its <!DOCTYPE …>, or ask for a file without one";
                    return Err(LoadError::new(path, LoadErrorKind::Unsupported, problem, remedy).at(line(from)));
                }
            }
            Event::Eof => {
                if open.is_empty() {
                    return Ok(());
                }
                let problem = format!("the text ends inside <{}>", super::columns::shortened(&open[open.len() - 1]));
                return Err(error(LoadErrorKind::Truncated, problem, from));
            }
            Event::Comment(_) | Event::Decl(_) | Event::PI(_) => {}
        }
    }
}

fn local(start: &BytesStart<'_>) -> String {
    String::from_utf8_lossy(start.local_name().as_ref()).into_owned()
}

/// A text so written that it may stand between tags or in an attribute; what XML cannot hold is left out.
pub(crate) fn escaped(text: &str) -> String {
    let allowed = |c: &char| matches!(c, '\t' | '\n' | '\r') || (*c >= ' ' && !matches!(c, '\u{fffe}' | '\u{ffff}'));
    quick_xml::escape::escape(text.chars().filter(allowed).collect::<String>()).replace('\r', "&#13;")
}
