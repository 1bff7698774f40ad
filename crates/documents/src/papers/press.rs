//! The typesetter: fonts, a world that holds nothing but the sheet in hand, and the PDF.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde_json::Value;
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};
use typst_kit::fonts::FontStore;
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards, Timestamp};

use super::sheet::Sheet;
use super::{PaperError, Typeset};

const TEMPLATE: &str = include_str!("../../templates/paper.typ");
const MAIN: &str = "/paper.typ";
const DATA: &str = "/data.json";
/// Other alphabets: Libertinus Serif, SIL Open Font License (`fonts/LICENCE-OF-THE-OTHERS.txt`).
const ALPHABETS: &[u8] = include_bytes!("../../fonts/LibertinusSerif-Regular.otf");
/// Signs: `DejaVu` Sans Mono, Bitstream Vera licence (the same file).
const SIGNS: &[u8] = include_bytes!("../../fonts/DejaVuSansMono.ttf");
/// How many papers back the typesetter keeps what it worked out \[ours\].
const KEPT: usize = 2;
/// What stands for a character that no font of ours has.
const NO_GLYPH: char = '?';

/// Our two fonts, and two more for signs that ours lack: other alphabets, arrows, mathematics.
static FONTS: LazyLock<FontStore> = LazyLock::new(|| {
    let mut store = FontStore::new();
    for data in [crate::FONT_REGULAR, crate::FONT_BOLD, ALPHABETS, SIGNS] {
        for font in Font::iter(Bytes::new(data)) {
            let info = font.info().clone();
            store.push((font, info));
        }
    }
    store
});

static LIBRARY: LazyLock<LazyHash<Library>> = LazyLock::new(|| LazyHash::new(Library::default()));

/// The world of one sheet: a template, its data and its pictures. Anything else is not there.
struct Desktop {
    main: FileId,
    template: Source,
    files: BTreeMap<String, Bytes>,
}

impl World for Desktop {
    fn library(&self) -> &LazyHash<Library> {
        &LIBRARY
    }

    fn book(&self) -> &LazyHash<FontBook> {
        FONTS.book()
    }

    fn main(&self) -> FileId {
        self.main
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.main { Ok(self.template.clone()) } else { Err(FileError::AccessDenied) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        let path = id.get();
        match path.root() {
            VirtualRoot::Project => {
                self.files.get(path.vpath().get_with_slash()).cloned().ok_or(FileError::AccessDenied)
            }
            VirtualRoot::Package(_) => Err(FileError::AccessDenied),
        }
    }

    fn font(&self, index: usize) -> Option<Font> {
        FONTS.font(index)
    }

    fn today(&self, _offset: Option<Duration>) -> Option<Datetime> {
        // A paper says the day it was given, never the day of the machine.
        None
    }
}

/// Lays a sheet out and writes it as tagged PDF. `paper`: its word.
pub(crate) fn print(paper: &'static str, issued: &str, sheet: &Sheet) -> Result<Typeset, PaperError> {
    written(paper, issued, laid(paper, sheet)?)
}

/// The same where it takes no more pages than `most`; nothing where it takes more, and then no file is written either.
pub(crate) fn print_within(
    paper: &'static str,
    issued: &str,
    sheet: &Sheet,
    most: usize,
) -> Result<Option<Typeset>, PaperError> {
    let laid = laid(paper, sheet)?;
    if laid.document.pages().len() > most {
        return Ok(None);
    }
    written(paper, issued, laid).map(Some)
}

/// A sheet laid out in pages.
struct Laid {
    document: PagedDocument,
    /// What the typesetter remarked.
    remarks: Vec<String>,
    /// What the file is known by: the same content, the same file.
    ident: String,
}

/// Lays a sheet out.
fn laid(paper: &'static str, sheet: &Sheet) -> Result<Laid, PaperError> {
    let fail = |why: String| PaperError::Typesetting { paper, why };
    let mut data = serde_json::to_value(sheet).map_err(|e| fail(e.to_string()))?;
    printable(&mut data);
    let bytes = serde_json::to_vec(&data).map_err(|e| fail(e.to_string()))?;
    let mut files = BTreeMap::from([(DATA.to_owned(), Bytes::new(bytes))]);
    for (name, svg) in &sheet.files {
        files.insert(format!("/{name}"), Bytes::from_string(shown(svg)));
    }
    let path = VirtualPath::new(MAIN).map_err(|e| fail(e.to_string()))?;
    let main = RootedPath::new(VirtualRoot::Project, path).intern();
    let world = Desktop { main, template: Source::new(main, TEMPLATE.to_owned()), files };
    let set = typst::compile::<PagedDocument>(&world);
    let remarks = told(&set.warnings);
    let document = set.output.map_err(|errors| fail(told(&errors).join("; ")))?;
    Ok(Laid { document, remarks, ident: format!("witnessmark {paper} {data}") })
}

/// Pages as tagged PDF.
fn written(paper: &'static str, issued: &str, laid: Laid) -> Result<Typeset, PaperError> {
    let fail = |why: String| PaperError::Typesetting { paper, why };
    let standards =
        PdfStandards::new(&[PdfStandard::Ua_1, PdfStandard::A_2a]).map_err(|e| fail(e.message().to_string()))?;
    let options = PdfOptions {
        ident: Smart::Custom(laid.ident),
        creator: Smart::Custom(Some("witnessmark".to_owned())),
        timestamp: day(issued).map(Timestamp::new_utc),
        standards,
        ..PdfOptions::default()
    };
    let pdf = typst_pdf::pdf(&laid.document, &options).map_err(|errors| fail(told(&errors).join("; ")));
    let pages = laid.document.pages().len();
    drop(laid.document);
    // Without this what was worked out for every paper would stay in memory.
    typst::comemo::evict(KEPT);
    Ok(Typeset { pdf: pdf?, pages, remarks: laid.remarks })
}

fn told(diagnostics: &[SourceDiagnostic]) -> Vec<String> {
    let with_hints = |d: &SourceDiagnostic| {
        let hints: Vec<&str> = d.hints.iter().map(|h| h.v.as_str()).collect();
        if hints.is_empty() { d.message.to_string() } else { format!("{} ({})", d.message, hints.join("; ")) }
    };
    diagnostics.iter().map(with_hints).collect()
}

/// A date such as `2026-11-27` at midnight; nothing for a text that is none.
fn day(text: &str) -> Option<Datetime> {
    let mut parts = text.split('-');
    let (year, month, day) = (parts.next()?, parts.next()?, parts.next()?);
    Datetime::from_ymd_hms(year.parse().ok()?, month.parse().ok()?, day.get(..2)?.parse().ok()?, 0, 0, 0)
}

/// Puts a sign for what no font can show, everywhere in the data.
fn printable(data: &mut Value) {
    match data {
        Value::String(text) => *text = shown(text),
        Value::Array(list) => list.iter_mut().for_each(printable),
        Value::Object(map) => map.values_mut().for_each(printable),
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

fn shown(text: &str) -> String {
    let book = FONTS.book();
    let has = |c: char| {
        let own = |k: usize| book.info(k).is_some_and(|i| i.coverage.contains(u32::from(c)));
        // The private areas have a glyph in some fonts and a meaning in none.
        !matches!(c, '\u{e000}'..='\u{f8ff}') && (0..).take_while(|k| book.info(*k).is_some()).any(own)
    };
    text.chars()
        .map(|c| match c {
            c if c.is_ascii_graphic() || c == ' ' || c == '\n' => c,
            c if c.is_control() => ' ',
            c if has(c) => c,
            _ => NO_GLYPH,
        })
        .collect()
}
