//! A paper as a list of blocks, before it is laid out.

use serde::Serialize;

use super::PaperSize;

/// What every sheet says about itself.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct TitleBlock {
    pub(crate) owner: String,
    /// Who the shop is and how to reach it, above the title of what goes to a customer or a supplier; lines, each with its
    /// parts beside each other.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(crate) letterhead: Vec<String>,
    pub(crate) title: String,
    pub(crate) kind: String,
    pub(crate) number: String,
    pub(crate) engine: String,
    pub(crate) issued: String,
    pub(crate) revision: String,
    pub(crate) made_by: String,
    pub(crate) chain: String,
    pub(crate) language: String,
}

/// What stands in one place of a table.
#[derive(Debug, Clone, Default, Serialize)]
pub(crate) struct Cell {
    pub(crate) text: String,
    #[serde(skip_serializing_if = "is_false")]
    pub(crate) strong: bool,
    #[serde(skip_serializing_if = "is_false")]
    pub(crate) struck: bool,
    /// An empty line to write on.
    #[serde(skip_serializing_if = "is_false")]
    pub(crate) line: bool,
    /// A box to tick: whether it is ticked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) tick: Option<bool>,
    /// Small print under the text.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub(crate) note: String,
    /// A small picture before the text.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) picture: Option<Picture>,
}

fn is_false(b: &bool) -> bool {
    !*b
}

impl Cell {
    /// Plain text.
    pub(crate) fn of(text: impl Into<String>) -> Self {
        Self { text: text.into(), ..Self::default() }
    }

    /// Text that stands out.
    pub(crate) fn strong(text: impl Into<String>) -> Self {
        Self { text: text.into(), strong: true, ..Self::default() }
    }

    /// An empty line to write on.
    pub(crate) fn line() -> Self {
        Self { line: true, ..Self::default() }
    }

    /// A box to tick.
    pub(crate) fn tick(done: bool) -> Self {
        Self { tick: Some(done), ..Self::default() }
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self::of(text)
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self::of(text)
    }
}

/// A picture on a paper.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Picture {
    /// Its file among those of the sheet.
    pub(crate) file: String,
    /// What it shows, in words.
    pub(crate) alt: String,
    /// Its width in parts of the line, or in millimetres inside a table.
    pub(crate) width: f64,
}

/// One column of a table.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Column {
    pub(crate) head: String,
    /// Share of what is left, or nothing: as wide as its text.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) share: Option<f64>,
}

/// A label to cut out.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Label {
    /// A bag, a cell or a code, large; empty for none.
    pub(crate) mark: String,
    /// What it is.
    pub(crate) name: String,
    /// What else must be known of it.
    pub(crate) lines: Vec<String>,
    /// Of which job.
    pub(crate) foot: String,
}

/// A piece of a paper.
#[derive(Debug, Clone, Serialize)]
#[serde(tag = "block", rename_all = "kebab-case")]
pub(crate) enum Block {
    /// A heading; 1 under the title, 2 below.
    Heading { level: u8, text: String },
    /// A paragraph.
    Text { text: String, strong: bool },
    /// Small print.
    Small { text: String },
    /// Words that somebody said.
    Quote { text: String, who: String },
    /// A caution, in a frame with the sign before it.
    Caution { text: String, hold: bool },
    /// A list.
    List { items: Vec<String> },
    /// A table.
    Table { columns: Vec<Column>, rows: Vec<Vec<Cell>> },
    /// Pictures under each other.
    Pictures { pictures: Vec<Picture> },
    /// Pictures side by side, each with its words above.
    Row { pictures: Vec<Picture>, words: Vec<String> },
    /// Lines with a name before them, filled or to be filled.
    Fields { items: Vec<(String, Option<String>)> },
    /// A large statement in a frame.
    Statement { text: String, under: String },
    /// Labels to cut out.
    Labels { labels: Vec<Label> },
    /// A new sheet that begins as the first one did, for somebody else.
    Anew { title: String },
    /// A new sheet.
    Break,
}

/// A paper being written.
#[derive(Debug, Serialize)]
pub(crate) struct Sheet {
    title: String,
    paper: &'static str,
    block: TitleBlock,
    blocks: Vec<Block>,
    /// How small it may be set, in parts of its size, so that what stands between two breaks stays on one sheet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) least_scale: Option<f64>,
    /// Whether a part that is too long even then is of no use: it is then laid out as two bare sheets.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub(crate) one_sheet: bool,
    /// Pictures by file name; they go in as files, not as data.
    #[serde(skip)]
    pub(crate) files: Vec<(String, String)>,
}

impl Sheet {
    /// An empty paper.
    pub(crate) fn new(title: &str, block: TitleBlock, size: PaperSize) -> Self {
        let paper = match size {
            PaperSize::A4 => "a4",
            PaperSize::Letter => "us-letter",
        };
        Self {
            title: title.to_owned(),
            paper,
            block,
            blocks: Vec::new(),
            least_scale: None,
            one_sheet: false,
            files: Vec::new(),
        }
    }

    /// A heading under the title.
    pub(crate) fn heading(&mut self, text: impl Into<String>) {
        self.blocks.push(Block::Heading { level: 1, text: text.into() });
    }

    /// A heading below that.
    pub(crate) fn subheading(&mut self, text: impl Into<String>) {
        self.blocks.push(Block::Heading { level: 2, text: text.into() });
    }

    /// A paragraph.
    pub(crate) fn text(&mut self, text: impl Into<String>) {
        self.blocks.push(Block::Text { text: text.into(), strong: false });
    }

    /// A paragraph that stands out.
    pub(crate) fn strong(&mut self, text: impl Into<String>) {
        self.blocks.push(Block::Text { text: text.into(), strong: true });
    }

    /// Small print.
    pub(crate) fn small(&mut self, text: impl Into<String>) {
        self.blocks.push(Block::Small { text: text.into() });
    }

    /// Words that somebody said.
    pub(crate) fn quote(&mut self, text: impl Into<String>, who: impl Into<String>) {
        self.blocks.push(Block::Quote { text: text.into(), who: who.into() });
    }

    /// A caution.
    pub(crate) fn caution(&mut self, text: impl Into<String>, hold: bool) {
        self.blocks.push(Block::Caution { text: text.into(), hold });
    }

    /// A list, where there is something in it.
    pub(crate) fn list(&mut self, items: Vec<String>) {
        if !items.is_empty() {
            self.blocks.push(Block::List { items });
        }
    }

    /// A table, where it has rows; columns by head and share.
    pub(crate) fn table(&mut self, columns: &[(&str, Option<f64>)], rows: Vec<Vec<Cell>>) {
        if !rows.is_empty() {
            let columns =
                columns.iter().map(|(head, share)| Column { head: (*head).to_owned(), share: *share }).collect();
            self.blocks.push(Block::Table { columns, rows });
        }
    }

    /// Keeps a picture among the files.
    pub(crate) fn picture(&mut self, svg: String, alt: impl Into<String>, width: f64) -> Picture {
        let file = format!("picture-{}.svg", self.files.len() + 1);
        self.files.push((file.clone(), svg));
        Picture { file, alt: alt.into(), width }
    }

    /// Pictures under each other.
    pub(crate) fn pictures(&mut self, pictures: Vec<Picture>) {
        if !pictures.is_empty() {
            self.blocks.push(Block::Pictures { pictures });
        }
    }

    /// Pictures side by side, each with its words above.
    pub(crate) fn row(&mut self, items: Vec<(String, Picture)>) {
        if !items.is_empty() {
            let (words, pictures) = items.into_iter().unzip();
            self.blocks.push(Block::Row { pictures, words });
        }
    }

    /// Lines with a name before them.
    pub(crate) fn fields(&mut self, items: Vec<(String, Option<String>)>) {
        if !items.is_empty() {
            self.blocks.push(Block::Fields { items });
        }
    }

    /// A large statement.
    pub(crate) fn statement(&mut self, text: impl Into<String>, under: impl Into<String>) {
        self.blocks.push(Block::Statement { text: text.into(), under: under.into() });
    }

    /// Labels to cut out.
    pub(crate) fn labels(&mut self, labels: Vec<Label>) {
        if !labels.is_empty() {
            self.blocks.push(Block::Labels { labels });
        }
    }

    /// A new sheet that begins as the first one did, for somebody else.
    pub(crate) fn anew(&mut self) {
        self.blocks.push(Block::Anew { title: self.title.clone() });
    }

    /// A new sheet.
    pub(crate) fn new_page(&mut self) {
        self.blocks.push(Block::Break);
    }

    /// Whether nothing stands on it yet.
    pub(crate) fn is_empty(&self) -> bool {
        self.blocks.is_empty()
    }
}
