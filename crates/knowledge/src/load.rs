//! Reads knowledge files: which files there are, and the tables inside them with the line each one opens on.
//!
//! A knowledge file is TOML and holds nothing but arrays of tables (`[[condition]]`, `[[check]]`, ...). Whatever is
//! wrong in it is told as a [`Complaint`]: file, line, field, what was expected, and the next move.

use include_dir::{Dir, include_dir};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::ops::{Deref, Range};
use std::path::{Path, PathBuf};
use toml::Spanned;
use toml::de::{DeTable, DeValue, ValueDeserializer};

static BUILTIN: Dir<'static> = include_dir!("$CARGO_MANIFEST_DIR/../../knowledge");

/// A fact together with the file and line where its table opens.
///
/// The line is counted from 1. It dereferences to the fact.
#[derive(Debug, Clone, PartialEq)]
pub struct Located<T> {
    /// The fact.
    pub value: T,
    /// The file, as a reader would open it.
    pub file: String,
    /// The line of the table's heading, counted from 1.
    pub line: usize,
}

impl<T> Deref for Located<T> {
    type Target = T;
    fn deref(&self) -> &T {
        &self.value
    }
}

impl<T> Located<T> {
    /// A complaint about a field of this fact, at the line where its table opens.
    pub fn complaint(
        &self,
        field: impl Into<String>,
        message: impl Into<String>,
        next: impl Into<String>,
    ) -> Complaint {
        Complaint {
            file: self.file.clone(),
            line: self.line,
            field: field.into(),
            message: message.into(),
            next: next.into(),
        }
    }
}

/// One thing wrong in the knowledge files: where, what, and what to do about it.
///
/// Prints as `file:line: field: message; next move: ...`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Complaint {
    /// The file, as a reader would open it.
    pub file: String,
    /// The line, counted from 1; 0 when the file as a whole is meant.
    pub line: usize,
    /// The field, as a dotted path where it lies deep.
    pub field: String,
    /// What is wrong and what was expected.
    pub message: String,
    /// What to do about it.
    pub next: String,
}

impl fmt::Display for Complaint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: {}: {}; next move: {}", self.file, self.line, self.field, self.message, self.next)
    }
}

/// Why knowledge could not be loaded.
#[derive(Debug, thiserror::Error)]
pub enum LoadError {
    /// The folder on disk could not be read.
    #[error("cannot read {path}: {reason}; next move: give a folder that exists and may be read")]
    Unreadable {
        /// The folder or file that was asked for.
        path: PathBuf,
        /// What the system said.
        reason: std::io::Error,
    },
    /// The folder on disk holds a sub-folder the knowledge has no use for.
    #[error("{path} is not a knowledge folder; next move: name it as one of {expected}, or move it away")]
    UnknownFolder {
        /// The folder found.
        path: String,
        /// The folders there may be.
        expected: String,
    },
    /// One or more files do not hold what they should.
    #[error("{}", join(.0))]
    Files(Vec<Complaint>),
}

impl LoadError {
    /// The complaints about files, empty when the folder itself could not be read.
    #[must_use]
    pub fn complaints(&self) -> &[Complaint] {
        match self {
            Self::Files(complaints) => complaints,
            Self::Unreadable { .. } | Self::UnknownFolder { .. } => &[],
        }
    }
}

fn join(complaints: &[Complaint]) -> String {
    complaints.iter().map(Complaint::to_string).collect::<Vec<_>>().join("\n")
}

/// The folders of the knowledge and the kinds of table each may hold.
pub const FOLDERS: &[(&str, &[&str])] = &[
    ("blocks", &["block", "travel"]),
    ("cautions", &["caution"]),
    ("causes", &["cause", "attribute"]),
    ("checks", &["check", "stage", "prerequisite", "tool", "checklist", "repeat", "source"]),
    ("conditions", &["condition"]),
    ("gauges", &["gauge"]),
    ("learnt", &["learnt", "odds", "showing"]),
    ("limits", &["limit"]),
    ("operations", &["operation"]),
    ("options", &["option", "call"]),
    ("outside", &["outside"]),
    ("parts", &["joint", "arrival", "rule"]),
    ("quotes", &["quote_age"]),
    ("residues", &["residue", "place"]),
    ("shop", &["shop"]),
    ("sources", &["source"]),
    ("steps", &["stage", "rule", "keep", "wait"]),
];

#[derive(Debug, Clone, PartialEq, Eq)]
struct KnowledgeFile {
    shown: String,
    bytes: Vec<u8>,
}

/// The knowledge files a job is judged by: compiled in, or the shop's own.
///
/// A shop's folder may hold only some of the folders; those it holds replace the compiled-in ones of the same name
/// whole, the others stay as compiled in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileSet {
    files: BTreeMap<String, KnowledgeFile>,
}

impl FileSet {
    /// The files compiled into the program.
    #[must_use]
    pub fn builtin() -> Self {
        let mut files = BTreeMap::new();
        let mut open = vec![&BUILTIN];
        while let Some(dir) = open.pop() {
            open.extend(dir.dirs());
            for file in dir.files() {
                let path = slashed(file.path());
                if path.ends_with(".toml") {
                    let shown = format!("knowledge/{path}");
                    files.insert(path, KnowledgeFile { shown, bytes: file.contents().to_vec() });
                }
            }
        }
        Self { files }
    }

    /// The compiled-in files with every folder that `root` holds replaced by the shop's own.
    ///
    /// # Errors
    /// `LoadError::Unreadable` when the folder or a file in it cannot be read, `LoadError::UnknownFolder` when it
    /// holds a sub-folder the knowledge does not know.
    pub fn from_folder(root: &Path) -> Result<Self, LoadError> {
        let unreadable = |path: &Path| {
            let path = path.to_path_buf();
            move |reason| LoadError::Unreadable { path, reason }
        };
        let mut own = BTreeMap::new();
        for entry in std::fs::read_dir(root).map_err(unreadable(root))? {
            let folder = entry.map_err(unreadable(root))?.path();
            if !folder.is_dir() {
                continue;
            }
            let name = folder.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
            if !FOLDERS.iter().any(|(known, _)| *known == name) {
                let expected = FOLDERS.iter().map(|(known, _)| *known).collect::<Vec<_>>().join(", ");
                return Err(LoadError::UnknownFolder { path: folder.display().to_string(), expected });
            }
            for entry in std::fs::read_dir(&folder).map_err(unreadable(&folder))? {
                let path = entry.map_err(unreadable(&folder))?.path();
                if path.extension().is_some_and(|e| e == "toml") {
                    let bytes = std::fs::read(&path).map_err(unreadable(&path))?;
                    let file = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
                    own.insert(format!("{name}/{file}"), KnowledgeFile { shown: path.display().to_string(), bytes });
                }
            }
        }
        Ok(Self::builtin().replaced_by(own))
    }

    /// These files with every folder named in `texts` (path inside the knowledge, text) replaced.
    ///
    /// A file is shown under the path given.
    #[must_use]
    pub fn with_texts(self, texts: &[(&str, &str)]) -> Self {
        let own = texts.iter().map(|(path, text)| {
            ((*path).to_owned(), KnowledgeFile { shown: (*path).to_owned(), bytes: text.as_bytes().to_vec() })
        });
        self.replaced_by(own.collect())
    }

    /// A set of exactly these files (path inside the knowledge, text).
    #[must_use]
    pub fn from_texts(texts: &[(&str, &str)]) -> Self {
        Self { files: BTreeMap::new() }.with_texts(texts)
    }

    fn replaced_by(mut self, own: BTreeMap<String, KnowledgeFile>) -> Self {
        let folders: BTreeSet<&str> = own.keys().filter_map(|path| path.split('/').next()).collect();
        self.files.retain(|path, _| path.split('/').next().is_none_or(|folder| !folders.contains(folder)));
        self.files.extend(own);
        self
    }

    /// The paths of all files inside the knowledge, sorted.
    pub fn paths(&self) -> impl Iterator<Item = &str> {
        self.files.keys().map(String::as_str)
    }

    /// The text of one file, or nothing when there is no such file or it is not UTF-8.
    #[must_use]
    pub fn text(&self, path: &str) -> Option<&str> {
        self.files.get(path).and_then(|file| std::str::from_utf8(&file.bytes).ok())
    }

    /// The fingerprint of all files, by which a case records what it was judged by.
    #[must_use]
    pub fn version(&self) -> KnowledgeVersion {
        self.fingerprint(|_| true)
    }

    /// The fingerprint of causes, conditions and checks, against which a shop learns its own odds.
    #[must_use]
    pub fn book(&self) -> KnowledgeVersion {
        self.fingerprint(|folder| crate::learnt::LEARNT_AGAINST.contains(&folder))
    }

    /// These files without what the shop's own jobs say.
    #[must_use]
    pub fn without_learnt(mut self) -> Self {
        self.files.retain(|path, _| !path.starts_with("learnt/"));
        self
    }

    fn fingerprint(&self, counts: impl Fn(&str) -> bool) -> KnowledgeVersion {
        let mut sum = Sha256::new();
        let counting = |path: &str| path.split('/').next().is_some_and(&counts);
        for (path, file) in self.files.iter().filter(|(path, _)| counting(path)) {
            for part in [path.as_bytes(), file.bytes.as_slice()] {
                sum.update(u64::try_from(part.len()).unwrap_or(u64::MAX).to_be_bytes());
                sum.update(part);
            }
        }
        KnowledgeVersion(sum.finalize().iter().map(|byte| format!("{byte:02x}")).collect())
    }

    fn folder<'a>(&'a self, folder: &str) -> impl Iterator<Item = &'a KnowledgeFile> {
        let start = format!("{folder}/");
        self.files.iter().filter(move |(path, _)| path.starts_with(&start)).map(|(_, file)| file)
    }
}

/// The SHA-256 over all knowledge files in path order, as 64 hexadecimal digits.
///
/// Each path and each content goes in behind its length (8 bytes, most significant first), so that no two different
/// sets of files have the same bytes under the sum.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct KnowledgeVersion(String);

impl KnowledgeVersion {
    /// The 64 hexadecimal digits.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for KnowledgeVersion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Reads every `[[key]]` table of every TOML file in one folder, files in path order, tables in file order.
///
/// # Errors
/// `LoadError::Files` with one complaint per table that cannot be read: its file, line, field and the next move. A
/// kind of table that the folder does not hold at all is complained of as well, so that a misspelt heading shows.
pub fn read_tables<T: DeserializeOwned>(
    files: &FileSet,
    folder: &str,
    key: &str,
) -> Result<Vec<Located<T>>, LoadError> {
    let known = FOLDERS.iter().find(|(name, _)| *name == folder).map_or(&[][..], |(_, keys)| *keys);
    let mut tables = Vec::new();
    let mut complaints = Vec::new();
    for file in files.folder(folder) {
        read_file(file, key, known, &mut tables, &mut complaints);
    }
    if complaints.is_empty() { Ok(tables) } else { Err(LoadError::Files(complaints)) }
}

fn read_file<T: DeserializeOwned>(
    file: &KnowledgeFile,
    key: &str,
    known: &[&str],
    tables: &mut Vec<Located<T>>,
    complaints: &mut Vec<Complaint>,
) {
    let whole = |message: &str, next: &str| Complaint {
        file: file.shown.clone(),
        line: 0,
        field: "file".into(),
        message: message.into(),
        next: next.into(),
    };
    let Ok(text) = std::str::from_utf8(&file.bytes) else {
        complaints.push(whole("is not UTF-8 text", "save it as UTF-8"));
        return;
    };
    let document = match DeTable::parse(text) {
        Ok(document) => document.into_inner(),
        Err(error) => {
            complaints.push(said_by_reader(file, text, 0, "file", &error));
            return;
        }
    };
    for (name, value) in document {
        let line = line_of(text, name.span().start);
        let heading = name.into_inner();
        if heading != key && !known.contains(&heading.as_ref()) {
            complaints.push(Complaint {
                file: file.shown.clone(),
                line,
                field: heading.into_owned(),
                message: format!("is not a kind of table this folder holds, expected one of {}", known.join(", ")),
                next: "spell the heading as one of those, or move the table to its own folder".into(),
            });
            continue;
        }
        if heading != key {
            continue;
        }
        let DeValue::Array(items) = value.into_inner() else {
            complaints.push(Complaint {
                file: file.shown.clone(),
                line,
                field: key.into(),
                message: format!("expected tables headed [[{key}]]"),
                next: format!("write each one as its own table under [[{key}]]"),
            });
            continue;
        };
        for item in items {
            read_item(file, text, key, item, tables, complaints);
        }
    }
}

fn read_item<T: DeserializeOwned>(
    file: &KnowledgeFile,
    text: &str,
    key: &str,
    item: Spanned<DeValue<'_>>,
    tables: &mut Vec<Located<T>>,
    complaints: &mut Vec<Complaint>,
) {
    let line = line_of(text, item.span().start);
    match T::deserialize(ValueDeserializer::from(item)) {
        Ok(value) => tables.push(Located { value, file: file.shown.clone(), line }),
        Err(error) => complaints.push(said_by_reader(file, text, line, key, &error)),
    }
}

fn line_of(text: &str, offset: usize) -> usize {
    text.bytes().take(offset).filter(|byte| *byte == b'\n').count() + 1
}

/// Words a complaint of the TOML reader: the line it points at, the field it names, and what to do.
fn said_by_reader(
    file: &KnowledgeFile,
    text: &str,
    table_line: usize,
    key: &str,
    error: &toml::de::Error,
) -> Complaint {
    let span: Option<Range<usize>> = error.span();
    let message = error.message().trim().replace('\n', ", ");
    let line = reading_line(text, table_line, &message)
        .unwrap_or_else(|| span.as_ref().map_or(table_line, |span| line_of(text, span.start)));
    let quoted = message.split('`').nth(1).unwrap_or_default().to_owned();
    let missing = message.starts_with("missing field") || message.contains(" needs `");
    let unknown = message.starts_with("unknown field") || message.contains(" has no `");
    let field = if missing || unknown || message.starts_with("reading ") && !quoted.is_empty() {
        quoted.clone()
    } else {
        span.and_then(|span| field_before(text, span.start)).unwrap_or_else(|| key.to_owned())
    };
    let next = if missing {
        format!("add `{quoted}` to the table that opens on this line")
    } else if unknown {
        format!("take `{quoted}` out, or spell it as one of the fields that belong here")
    } else if table_line == 0 {
        "mend the TOML at this line".to_owned()
    } else {
        format!("write `{field}` in the form expected")
    };
    Complaint { file: file.shown.clone(), line, field, message, next }
}

/// The line on which the reading named by a message opens, looked for from the line of its table on.
///
/// The TOML reader points such a message at the first reading of the table, whichever it is about.
fn reading_line(text: &str, table_line: usize, message: &str) -> Option<usize> {
    let (id, _) = message.strip_prefix("reading ")?.split_once(':')?;
    let wanted = format!("id = \"{id}\"");
    let mut opened = table_line;
    for (index, line) in text.lines().enumerate().skip(table_line.saturating_sub(1)) {
        if line.starts_with("[[") {
            opened = index + 1;
        }
        if line.trim() == wanted && opened > table_line {
            return Some(opened);
        }
    }
    None
}

/// The key that the value starting at `offset` belongs to, read from the text of its line.
fn field_before(text: &str, offset: usize) -> Option<String> {
    let head = text.get(..offset)?;
    let start = head.rfind('\n').map_or(0, |at| at + 1);
    let before = head.get(start..)?;
    let name = before.rsplit_once('=').map_or(before, |(left, _)| left);
    let name: String = name
        .trim_end()
        .chars()
        .rev()
        .take_while(|c| c.is_alphanumeric() || matches!(c, '-' | '_' | '.' | '"'))
        .collect();
    let name: String = name.chars().rev().filter(|c| *c != '"').collect();
    (!name.is_empty()).then_some(name)
}

/// A path inside the knowledge with forward strokes on every system.
fn slashed(path: &Path) -> String {
    path.iter().map(|part| part.to_string_lossy()).collect::<Vec<_>>().join("/")
}
