//! The open interchange form for discrete networks (files ending in `.bif`): reading and writing.
//!
//! Read: `network`, `variable` and `probability` blocks in any order; `//` and `/* */` comments;
//! names bare or in double quotation marks; numbers parted by commas or blanks; `property`
//! remarks; tables given by rows `(parent states) numbers;`, by one `table numbers;`, or with
//! `default numbers;` for the rows not listed. In a `table` entry with parents the order is that
//! of the interchange form: **the child runs slowest and the last parent fastest**, which is not
//! the order of [`crate::network`]. Free text between blocks, which the form would allow, is
//! refused: it is more often a slip than a remark.
//!
//! Written: every number in the shortest decimal form that reads back as the same number, one
//! row per line, so that a network written and read again is equal to the last bit.

use std::collections::BTreeMap;
use std::fmt;
use std::fmt::Write as _;

use thiserror::Error;

use crate::network::{About, Network, NetworkError, Property, Table, Variable, check_row, row_in_words, shape};

/// A place in a text, both numbers counted from one; columns count characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// The line.
    pub line: usize,
    /// The character in the line.
    pub column: usize,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {}", self.line, self.column)
    }
}

/// Why a text is not a network in the interchange form.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum BifError {
    /// Something else was expected here.
    #[error("{at}: expected {expected}, found {found}; {next}")]
    Unexpected {
        /// Where.
        at: Place,
        /// What should stand here.
        expected: String,
        /// What stands here.
        found: String,
        /// What to do.
        next: String,
    },
    /// A comment, name or remark is opened and never closed.
    #[error("{at}: this {what} is never closed; add the closing {closing}")]
    Unclosed {
        /// Where it opens.
        at: Place,
        /// What is open.
        what: &'static str,
        /// What would close it.
        closing: &'static str,
    },
    /// A number cannot be read.
    #[error("{at}: {found:?} is not a number; write a decimal such as 0.25 or 2.5e-3")]
    NotANumber {
        /// Where.
        at: Place,
        /// The text.
        found: String,
    },
    /// A list has the wrong length.
    #[error("{at}: {what} has {found} {unit}, expected {expected}; {next}")]
    WrongCount {
        /// Where.
        at: Place,
        /// What is counted.
        what: String,
        /// The thing counted.
        unit: &'static str,
        /// How many there are.
        found: usize,
        /// How many there should be.
        expected: usize,
        /// What to do.
        next: String,
    },
    /// A variable is used that no block declares.
    #[error("{at}: there is no variable {name:?}; declare it in a variable block or correct the spelling")]
    UnknownVariable {
        /// Where.
        at: Place,
        /// The name.
        name: String,
    },
    /// A state is used that its variable does not have.
    #[error("{at}: variable {variable:?} has no state {state:?}; its states are {states}")]
    UnknownState {
        /// Where.
        at: Place,
        /// The variable.
        variable: String,
        /// The state.
        state: String,
        /// The states it has.
        states: String,
    },
    /// A row or a whole entry is given twice.
    #[error("{at}: {what} is given twice, first at {first}; remove one of them")]
    Twice {
        /// Where, the second time.
        at: Place,
        /// What is given twice.
        what: String,
        /// Where, the first time.
        first: Place,
    },
    /// A row of a table is missing.
    #[error("{at}: the table of {variable:?} has no row {row}; add the row or a default entry")]
    MissingRow {
        /// Where the block begins.
        at: Place,
        /// The child.
        variable: String,
        /// The row in words.
        row: String,
    },
    /// A `table` entry adds up only in the other counting order.
    #[error(
        "{at}: the table entry of {variable:?} adds up to one only when read with the child running fastest, but in this form the child runs slowest and the last parent fastest; put it in that order or write one row per line"
    )]
    OtherOrder {
        /// Where the entry begins.
        at: Place,
        /// The child.
        variable: String,
    },
    /// The text is well formed but is no network.
    #[error("{at}: {problem}")]
    Network {
        /// Where.
        at: Place,
        /// What is wrong.
        problem: NetworkError,
    },
}

impl BifError {
    /// Gives the place in the text the complaint is about.
    #[must_use]
    pub fn place(&self) -> Place {
        match self {
            Self::Unexpected { at, .. }
            | Self::Unclosed { at, .. }
            | Self::NotANumber { at, .. }
            | Self::WrongCount { at, .. }
            | Self::UnknownVariable { at, .. }
            | Self::UnknownState { at, .. }
            | Self::Twice { at, .. }
            | Self::MissingRow { at, .. }
            | Self::OtherOrder { at, .. }
            | Self::Network { at, .. } => *at,
        }
    }
}

impl Network {
    /// Gives the network written in the text.
    ///
    /// # Errors
    /// [`BifError`] with line and column, what was expected and what to do.
    pub fn from_bif(text: &str) -> Result<Self, BifError> {
        Reader::new(text)?.network()
    }

    /// Gives the network as text in the interchange form; reading it back gives an equal network.
    #[must_use]
    pub fn to_bif(&self) -> String {
        write_network(self)
    }
}

// ---------------------------------------------------------------- words of the text

#[derive(Debug, Clone, Copy, PartialEq)]
enum Token<'a> {
    Bare(&'a str),
    Quoted(&'a str),
    /// The text of a remark, from after the word `property` to the semicolon.
    Remark(&'a str),
    Mark(char),
    End,
}

impl fmt::Display for Token<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bare(word) => write!(f, "{word:?}"),
            Self::Quoted(word) => write!(f, "the quoted name {word:?}"),
            Self::Remark(_) => f.write_str("a property"),
            Self::Mark(mark) => write!(f, "\"{mark}\""),
            Self::End => f.write_str("the end of the text"),
        }
    }
}

#[derive(Debug, Clone)]
struct Scanner<'a> {
    rest: &'a str,
    at: Place,
}

const MARKS: &[char] = &['{', '}', '(', ')', '[', ']', ',', ';', '|'];

impl<'a> Scanner<'a> {
    fn advance(&mut self, bytes: usize) -> &'a str {
        let (taken, rest) = self.rest.split_at_checked(bytes).unwrap_or((self.rest, ""));
        for c in taken.chars() {
            if c == '\n' {
                self.at.line += 1;
                self.at.column = 1;
            } else {
                self.at.column += 1;
            }
        }
        self.rest = rest;
        taken
    }

    fn skip_blanks_and_comments(&mut self) -> Result<(), BifError> {
        loop {
            let blanks = self.rest.len() - self.rest.trim_start().len();
            self.advance(blanks);
            if self.rest.starts_with("//") {
                let end = self.rest.find('\n').unwrap_or(self.rest.len());
                self.advance(end);
            } else if self.rest.starts_with("/*") {
                let at = self.at;
                let end = self.rest.get(2..).and_then(|r| r.find("*/")).ok_or(BifError::Unclosed {
                    at,
                    what: "comment",
                    closing: "*/",
                })?;
                self.advance(end + 4);
            } else {
                return Ok(());
            }
        }
    }

    fn next(&mut self) -> Result<(Token<'a>, Place), BifError> {
        self.skip_blanks_and_comments()?;
        let at = self.at;
        let Some(first) = self.rest.chars().next() else {
            return Ok((Token::End, at));
        };
        if MARKS.contains(&first) {
            self.advance(first.len_utf8());
            return Ok((Token::Mark(first), at));
        }
        if first == '"' {
            let end = self
                .rest
                .get(1..)
                .and_then(|rest| rest.find(['"', '\n']))
                .filter(|&end| self.rest.as_bytes().get(end + 1) == Some(&b'"'))
                .ok_or(BifError::Unclosed {
                    at,
                    what: "quoted name",
                    closing: "double quotation mark on the same line",
                })?;
            let whole = self.advance(end + 2);
            let inside = whole.get(1..=end).unwrap_or("");
            return Ok((Token::Quoted(inside), at));
        }
        let end = self
            .rest
            .char_indices()
            .find(|&(place, c)| {
                c.is_whitespace()
                    || c == '"'
                    || MARKS.contains(&c)
                    || self.rest.get(place..).is_some_and(|r| r.starts_with("//") || r.starts_with("/*"))
            })
            .map_or(self.rest.len(), |(place, _)| place);
        let word = self.advance(end);
        if word == "property" {
            return self.remark(at);
        }
        Ok((Token::Bare(word), at))
    }

    /// Takes everything up to the semicolon that is not inside quotation marks.
    fn remark(&mut self, at: Place) -> Result<(Token<'a>, Place), BifError> {
        let mut quoted = false;
        let end = self
            .rest
            .char_indices()
            .find(|&(_, c)| {
                if c == '"' {
                    quoted = !quoted;
                }
                c == ';' && !quoted
            })
            .map(|(place, _)| place)
            .ok_or(BifError::Unclosed { at, what: "property", closing: "semicolon" })?;
        let text = self.advance(end).trim();
        self.advance(1);
        Ok((Token::Remark(text), at))
    }
}

// ---------------------------------------------------------------- blocks

struct Reader<'a> {
    scanner: Scanner<'a>,
    token: Token<'a>,
    at: Place,
    /// Where the last word taken began.
    taken_at: Place,
}

struct ReadVariable {
    variable: Variable,
    at: Place,
}

/// A name and where it stands.
type Named = (String, Place);

struct ReadTable {
    at: Place,
    child: Named,
    parents: Vec<Named>,
    entries: Vec<Entry>,
    remarks: Vec<(String, Place)>,
}

struct Entry {
    at: Place,
    kind: EntryKind,
    values: Vec<(f64, Place)>,
}

enum EntryKind {
    Table,
    Default,
    Row(Vec<Named>),
}

impl<'a> Reader<'a> {
    fn new(text: &'a str) -> Result<Self, BifError> {
        let mut scanner =
            Scanner { rest: text.strip_prefix('\u{feff}').unwrap_or(text), at: Place { line: 1, column: 1 } };
        let (token, at) = scanner.next()?;
        Ok(Self { scanner, token, at, taken_at: at })
    }

    fn take(&mut self) -> Result<Token<'a>, BifError> {
        let token = self.token;
        self.taken_at = self.at;
        (self.token, self.at) = self.scanner.next()?;
        Ok(token)
    }

    fn unexpected(&self, expected: &str, next: &str) -> BifError {
        BifError::Unexpected {
            at: self.at,
            expected: expected.to_owned(),
            found: self.token.to_string(),
            next: next.to_owned(),
        }
    }

    fn mark(&mut self, mark: char, next: &str) -> Result<(), BifError> {
        if self.token == Token::Mark(mark) {
            self.take()?;
            return Ok(());
        }
        Err(self.unexpected(&format!("\"{mark}\""), next))
    }

    fn name(&mut self, what: &str) -> Result<Named, BifError> {
        match self.token {
            Token::Bare(word) | Token::Quoted(word) => {
                self.take()?;
                Ok((word.to_owned(), self.taken_at))
            }
            Token::Remark(_) | Token::Mark(_) | Token::End => {
                Err(self.unexpected(what, "put a name here, in double quotation marks if it has blanks or marks in it"))
            }
        }
    }

    fn is_bare(&self, word: &str) -> bool {
        self.token == Token::Bare(word)
    }

    fn network(mut self) -> Result<Network, BifError> {
        let mut name: Option<(String, Place)> = None;
        let mut network_remarks = Vec::new();
        let mut variables: Vec<ReadVariable> = Vec::new();
        let mut variable_remarks: Vec<(usize, String, Place)> = Vec::new();
        let mut tables: Vec<ReadTable> = Vec::new();
        while self.token != Token::End {
            let at = self.at;
            if self.is_bare("network") {
                self.take()?;
                if let Some((_, first)) = name {
                    return Err(BifError::Twice { at, what: "the network block".to_owned(), first });
                }
                let given = if matches!(self.token, Token::Mark('{')) {
                    "unnamed".to_owned()
                } else {
                    self.name("the name of the network")?.0
                };
                name = Some((given, at));
                self.mark('{', "open the block with it")?;
                while let Token::Remark(text) = self.token {
                    self.take()?;
                    network_remarks.push((text.to_owned(), self.taken_at));
                }
                self.mark('}', "close the network block; it holds only properties")?;
            } else if self.is_bare("variable") {
                self.take()?;
                let index = variables.len();
                let variable = self.variable(index, &mut variable_remarks)?;
                variables.push(variable);
            } else if self.is_bare("probability") {
                self.take()?;
                let table = self.table(at)?;
                tables.push(table);
            } else {
                return Err(self.unexpected(
                    "a block that begins with network, variable or probability",
                    "put free text into a comment, or close the block before it",
                ));
            }
        }
        let Some((name, name_at)) = name else {
            return Err(BifError::Unexpected {
                at: self.at,
                expected: "a network block".to_owned(),
                found: Token::End.to_string(),
                next: "begin the text with: network name { }".to_owned(),
            });
        };
        assemble((name, name_at), network_remarks, variables, variable_remarks, tables)
    }

    fn variable(&mut self, index: usize, remarks: &mut Vec<(usize, String, Place)>) -> Result<ReadVariable, BifError> {
        let (name, at) = self.name("the name of a variable")?;
        self.mark('{', "open the block with it")?;
        let mut states: Option<Vec<String>> = None;
        loop {
            if let Token::Remark(text) = self.token {
                self.take()?;
                remarks.push((index, text.to_owned(), self.taken_at));
            } else if self.is_bare("type") {
                let type_at = self.at;
                if states.is_some() {
                    return Err(BifError::Twice { at: type_at, what: format!("the type of {name:?}"), first: at });
                }
                self.take()?;
                if !self.is_bare("discrete") {
                    return Err(self.unexpected("\"discrete\"", "only variables with a list of states can be read"));
                }
                self.take()?;
                states = Some(self.states(&name)?);
            } else if self.token == Token::Mark('}') {
                self.take()?;
                break;
            } else {
                return Err(self.unexpected(
                    "type, property or \"}\"",
                    "a variable block reads: variable name { type discrete [ 2 ] { first, second }; }",
                ));
            }
        }
        let Some(states) = states else {
            return Err(BifError::Unexpected {
                at: self.taken_at,
                expected: format!("the type of {name:?}"),
                found: "the end of its block".to_owned(),
                next: "add: type discrete [ 2 ] { first, second };".to_owned(),
            });
        };
        Ok(ReadVariable { variable: Variable { name, states }, at })
    }

    fn states(&mut self, variable: &str) -> Result<Vec<String>, BifError> {
        self.mark('[', "put the number of states in square brackets")?;
        let count = match self.token {
            Token::Bare(word) => word.parse::<usize>().ok(),
            Token::Quoted(_) | Token::Remark(_) | Token::Mark(_) | Token::End => None,
        };
        let count_at = self.at;
        let Some(count) = count else {
            return Err(self.unexpected("the number of states", "write a whole number"));
        };
        self.take()?;
        self.mark(']', "close the number of states with it")?;
        self.mark('{', "list the states in curly brackets")?;
        let mut states = Vec::new();
        loop {
            match self.token {
                Token::Mark(',') => {
                    self.take()?;
                }
                Token::Mark('}') => {
                    self.take()?;
                    break;
                }
                Token::Bare(_) | Token::Quoted(_) | Token::Remark(_) | Token::Mark(_) | Token::End => {
                    states.push(self.name("the name of a state or \"}\"")?.0);
                }
            }
        }
        self.mark(';', "end the type with it")?;
        if states.len() != count {
            return Err(BifError::WrongCount {
                at: count_at,
                what: format!("variable {variable:?}"),
                unit: "states listed",
                found: states.len(),
                expected: count,
                next: "correct the number or the list".to_owned(),
            });
        }
        Ok(states)
    }

    fn table(&mut self, at: Place) -> Result<ReadTable, BifError> {
        self.mark('(', "name the child and its parents in round brackets")?;
        let child = self.name("the name of the child")?;
        let mut parents = Vec::new();
        loop {
            match self.token {
                Token::Mark(',' | '|') => {
                    self.take()?;
                }
                Token::Mark(')') => {
                    self.take()?;
                    break;
                }
                Token::Bare(_) | Token::Quoted(_) | Token::Remark(_) | Token::Mark(_) | Token::End => {
                    parents.push(self.name("the name of a parent or \")\"")?);
                }
            }
        }
        self.mark('{', "open the block with it")?;
        let mut entries = Vec::new();
        let mut remarks = Vec::new();
        loop {
            let entry_at = self.at;
            let kind = match self.token {
                Token::Remark(text) => {
                    self.take()?;
                    remarks.push((text.to_owned(), self.taken_at));
                    continue;
                }
                Token::Mark('}') => {
                    self.take()?;
                    break;
                }
                Token::Mark('(') => {
                    self.take()?;
                    EntryKind::Row(self.row_states()?)
                }
                Token::Bare("table") => {
                    self.take()?;
                    EntryKind::Table
                }
                Token::Bare("default") => {
                    self.take()?;
                    EntryKind::Default
                }
                Token::Bare(_) | Token::Quoted(_) | Token::Mark(_) | Token::End => {
                    return Err(self.unexpected(
                        "table, default, property, \"(\" or \"}\"",
                        "a row reads: (parent states) numbers; and a table without parents: table numbers;",
                    ));
                }
            };
            entries.push(Entry { at: entry_at, kind, values: self.numbers()? });
        }
        Ok(ReadTable { at, child, parents, entries, remarks })
    }

    fn row_states(&mut self) -> Result<Vec<Named>, BifError> {
        let mut states = Vec::new();
        loop {
            match self.token {
                Token::Mark(',') => {
                    self.take()?;
                }
                Token::Mark(')') => {
                    self.take()?;
                    return Ok(states);
                }
                Token::Bare(_) | Token::Quoted(_) | Token::Remark(_) | Token::Mark(_) | Token::End => {
                    states.push(self.name("the state of a parent or \")\"")?);
                }
            }
        }
    }

    fn numbers(&mut self) -> Result<Vec<(f64, Place)>, BifError> {
        let mut values = Vec::new();
        loop {
            match self.token {
                Token::Mark(',') => {
                    self.take()?;
                }
                Token::Mark(';') => {
                    self.take()?;
                    return Ok(values);
                }
                Token::Bare(word) => {
                    // A plain decimal only: the words inf and nan are no numbers here.
                    let plain = word.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | '-' | '+' | 'e' | 'E'));
                    let value = word.parse::<f64>().ok().filter(|_| plain);
                    let Some(value) = value else {
                        return Err(BifError::NotANumber { at: self.at, found: word.to_owned() });
                    };
                    // Adding zero turns minus zero into zero.
                    values.push((value + 0.0, self.at));
                    self.take()?;
                }
                Token::Quoted(_) | Token::Remark(_) | Token::Mark(_) | Token::End => {
                    return Err(self.unexpected("a number or \";\"", "end the numbers with a semicolon"));
                }
            }
        }
    }
}

// ---------------------------------------------------------------- from blocks to a network

fn assemble(
    (name, name_at): Named,
    network_remarks: Vec<(String, Place)>,
    read_variables: Vec<ReadVariable>,
    variable_remarks: Vec<(usize, String, Place)>,
    read_tables: Vec<ReadTable>,
) -> Result<Network, BifError> {
    let mut by_name: BTreeMap<&str, (usize, Place)> = BTreeMap::new();
    for (index, read) in read_variables.iter().enumerate() {
        if let Some((_, first)) = by_name.insert(&read.variable.name, (index, read.at)) {
            return Err(BifError::Twice { at: read.at, what: format!("variable {:?}", read.variable.name), first });
        }
    }
    let find = |(name, at): &Named| {
        by_name
            .get(name.as_str())
            .map(|&(index, _)| index)
            .ok_or_else(|| BifError::UnknownVariable { at: *at, name: name.clone() })
    };
    let variable_places: Vec<Place> = read_variables.iter().map(|read| read.at).collect();
    let variables: Vec<Variable> = read_variables.iter().map(|read| read.variable.clone()).collect();
    let mut table_places: BTreeMap<usize, Place> = BTreeMap::new();
    let mut tables = Vec::new();
    let mut remarks = Vec::new();
    for (text, at) in network_remarks {
        remarks.push((About::Network, text, at));
    }
    for (index, text, at) in variable_remarks {
        remarks.push((About::Variable(index), text, at));
    }
    for read in read_tables {
        let child = find(&read.child)?;
        if let Some(first) = table_places.insert(child, read.at) {
            return Err(BifError::Twice { at: read.at, what: format!("the table of {:?}", read.child.0), first });
        }
        let parents = read.parents.iter().map(find).collect::<Result<Vec<usize>, _>>()?;
        let values = table_values(&variables, child, &parents, &read)?;
        for (text, at) in read.remarks {
            remarks.push((About::Table(child), text, at));
        }
        tables.push(Table { child, parents, values });
    }
    let locate = |problem: NetworkError| {
        let at = problem
            .place()
            .0
            .and_then(|v| table_places.get(&v).or_else(|| variable_places.get(v)))
            .copied()
            .unwrap_or(name_at);
        BifError::Network { at, problem }
    };
    let mut network = Network::new(variables, tables)
        .map_err(locate)?
        .with_name(name)
        .map_err(|problem| BifError::Network { at: name_at, problem })?;
    for (about, text, at) in remarks {
        // A remark in quotation marks means what stands between them.
        let text: String = text.trim().chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        let text = text.strip_prefix('"').and_then(|rest| rest.strip_suffix('"')).unwrap_or(&text).replace('"', "'");
        if text.is_empty() {
            continue;
        }
        network =
            network.with_property(Property { about, text }).map_err(|problem| BifError::Network { at, problem })?;
    }
    Ok(network)
}

fn table_values(
    variables: &[Variable],
    child: usize,
    parents: &[usize],
    read: &ReadTable,
) -> Result<Vec<f64>, BifError> {
    let (rows, columns) =
        shape(variables, child, parents).map_err(|problem| BifError::Network { at: read.at, problem })?;
    let mut values = vec![0.0; rows * columns];
    let mut given: Vec<Option<Place>> = vec![None; rows];
    let mut whole: Option<Place> = None;
    let mut default: Option<(Vec<f64>, Place)> = None;
    for entry in &read.entries {
        let numbers: Vec<f64> = entry.values.iter().map(|&(value, _)| value).collect();
        let wrong_count = |what: String, expected: usize| BifError::WrongCount {
            at: entry.at,
            what,
            unit: "numbers",
            found: numbers.len(),
            expected,
            next: "give one number per state of the child".to_owned(),
        };
        match &entry.kind {
            EntryKind::Table => {
                if let Some(first) = whole.replace(entry.at) {
                    return Err(BifError::Twice {
                        at: entry.at,
                        what: format!("the table entry of {:?}", read.child.0),
                        first,
                    });
                }
                if let Some(first) = given.iter().flatten().min() {
                    return Err(BifError::Twice {
                        at: entry.at,
                        what: format!("a row of {:?}", read.child.0),
                        first: *first,
                    });
                }
                if numbers.len() != rows * columns {
                    return Err(BifError::WrongCount {
                        at: entry.at,
                        what: format!("the table entry of {:?}", read.child.0),
                        unit: "numbers",
                        found: numbers.len(),
                        expected: rows * columns,
                        next: format!("give {columns} states of the child times {rows} combinations of parent states"),
                    });
                }
                // The child runs slowest in this form.
                for (column, part) in numbers.chunks_exact(rows).enumerate() {
                    for (row, &value) in part.iter().enumerate() {
                        if let Some(place) = values.get_mut(row * columns + column) {
                            *place = value;
                        }
                    }
                }
                for row in 0..rows {
                    let slice = values.get(row * columns..(row + 1) * columns).unwrap_or(&[]);
                    if let Err(problem) = check_row(variables, child, parents, row, slice) {
                        let other_order_fits = rows > 1
                            && numbers
                                .chunks_exact(columns)
                                .enumerate()
                                .all(|(r, part)| check_row(variables, child, parents, r, part).is_ok());
                        return Err(if other_order_fits {
                            BifError::OtherOrder { at: entry.at, variable: read.child.0.clone() }
                        } else {
                            BifError::Network { at: entry.at, problem }
                        });
                    }
                }
                given.fill(Some(entry.at));
            }
            EntryKind::Default => {
                if let Some((_, first)) = &default {
                    return Err(BifError::Twice {
                        at: entry.at,
                        what: format!("the default of {:?}", read.child.0),
                        first: *first,
                    });
                }
                if numbers.len() != columns {
                    return Err(wrong_count(format!("the default of {:?}", read.child.0), columns));
                }
                default = Some((numbers, entry.at));
            }
            EntryKind::Row(states) => {
                let row = row_number(variables, parents, states, entry.at, &read.child.0)?;
                if numbers.len() != columns {
                    return Err(wrong_count(
                        format!("the row {} of {:?}", row_in_words(variables, parents, row), read.child.0),
                        columns,
                    ));
                }
                if let Some(first) = given.get(row).copied().flatten() {
                    return Err(BifError::Twice {
                        at: entry.at,
                        what: format!("the row {} of {:?}", row_in_words(variables, parents, row), read.child.0),
                        first,
                    });
                }
                check_row(variables, child, parents, row, &numbers)
                    .map_err(|problem| BifError::Network { at: entry.at, problem })?;
                if let Some(place) = values.get_mut(row * columns..(row + 1) * columns) {
                    place.copy_from_slice(&numbers);
                }
                if let Some(place) = given.get_mut(row) {
                    *place = Some(entry.at);
                }
            }
        }
    }
    for (row, place) in given.iter().enumerate() {
        if place.is_some() {
            continue;
        }
        let Some((numbers, at)) = &default else {
            return Err(BifError::MissingRow {
                at: read.at,
                variable: read.child.0.clone(),
                row: row_in_words(variables, parents, row),
            });
        };
        check_row(variables, child, parents, row, numbers).map_err(|problem| BifError::Network { at: *at, problem })?;
        if let Some(place) = values.get_mut(row * columns..(row + 1) * columns) {
            place.copy_from_slice(numbers);
        }
    }
    Ok(values)
}

fn row_number(
    variables: &[Variable],
    parents: &[usize],
    states: &[Named],
    at: Place,
    child: &str,
) -> Result<usize, BifError> {
    if states.len() != parents.len() {
        return Err(BifError::WrongCount {
            at,
            what: format!("a row of {child:?}"),
            unit: "parent states",
            found: states.len(),
            expected: parents.len(),
            next: "name one state per parent, in the order of the parents".to_owned(),
        });
    }
    let mut row = 0;
    for (&parent, (state, state_at)) in parents.iter().zip(states) {
        let Some(variable) = variables.get(parent) else {
            continue;
        };
        let Some(place) = variable.states.iter().position(|s| s == state) else {
            return Err(BifError::UnknownState {
                at: *state_at,
                variable: variable.name.clone(),
                state: state.clone(),
                states: variable.states.join(", "),
            });
        };
        row = row * variable.states.len() + place;
    }
    Ok(row)
}

// ---------------------------------------------------------------- writing

fn write_network(network: &Network) -> String {
    let mut text = String::new();
    let remarks = |about: About| {
        network
            .properties()
            .iter()
            .filter(move |property| property.about == about)
            .map(|property| format!("  property \"{}\";\n", property.text))
            .collect::<String>()
    };
    let name_of = |index: usize| network.variables().get(index).map_or_else(String::new, |v| quoted(&v.name));
    let state_of = |variable: usize, state: usize| {
        network.variables().get(variable).and_then(|v| v.states.get(state)).map_or_else(String::new, |s| quoted(s))
    };
    // Writing to a String cannot fail, so the results are let go.
    let _ = write!(text, "network {} {{\n{}}}\n", quoted(network.name()), remarks(About::Network));
    for (index, variable) in network.variables().iter().enumerate() {
        let states: Vec<String> = variable.states.iter().map(|s| quoted(s)).collect();
        let _ = write!(
            text,
            "variable {} {{\n  type discrete [ {} ] {{ {} }};\n{}}}\n",
            quoted(&variable.name),
            states.len(),
            states.join(", "),
            remarks(About::Variable(index)),
        );
    }
    for table in network.tables() {
        let _ = write!(text, "probability ( {}", name_of(table.child));
        for (place, &parent) in table.parents.iter().enumerate() {
            let _ = write!(text, "{} {}", if place == 0 { " |" } else { "," }, name_of(parent));
        }
        let _ = write!(text, " ) {{\n{}", remarks(About::Table(table.child)));
        let columns = network.variables().get(table.child).map_or(1, |v| v.states.len());
        let counts: Vec<usize> =
            table.parents.iter().map(|&p| network.variables().get(p).map_or(1, |v| v.states.len())).collect();
        for (row, values) in table.values.chunks_exact(columns).enumerate() {
            let numbers: Vec<String> = values.iter().map(|&v| shortest(v)).collect();
            if table.parents.is_empty() {
                let _ = writeln!(text, "  table {};", numbers.join(", "));
                continue;
            }
            let mut rest = row;
            let mut states: Vec<String> = Vec::with_capacity(counts.len());
            for (&parent, &count) in table.parents.iter().zip(&counts).rev() {
                states.push(state_of(parent, rest % count));
                rest /= count;
            }
            states.reverse();
            let _ = writeln!(text, "  ({}) {};", states.join(", "), numbers.join(", "));
        }
        text.push_str("}\n");
    }
    text
}

/// Gives the shortest decimal that reads back as the same number; never a minus zero.
fn shortest(value: f64) -> String {
    format!("{:?}", value + 0.0)
}

/// Gives the name bare where every reader takes it bare, else in quotation marks.
fn quoted(name: &str) -> String {
    let plain = name.chars().next().is_some_and(|c| c.is_ascii_alphanumeric() || c == '_')
        && name.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '_' | '-' | '.'))
        && name != "property";
    if plain { name.to_owned() } else { format!("\"{name}\"") }
}
