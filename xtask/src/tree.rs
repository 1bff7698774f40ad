//! Which files belong to the project: everything below its root but what git and cargo keep there for themselves.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};

/// Folders that are not ours to look at.
const NOT_OURS: &[&str] = &["target", ".git", "node_modules"];

/// A text file of the project.
#[derive(Debug, Clone)]
pub struct TextFile {
    /// Its path below the root, with `/` between the parts.
    pub path: String,
    /// What it holds.
    pub text: String,
}

/// The working folder.
#[derive(Debug, Clone)]
pub struct Tree {
    /// Where it lies.
    pub root: PathBuf,
    /// Its text files, by path.
    pub files: Vec<TextFile>,
}

impl Tree {
    /// Reads every text file below a root; files that are not UTF-8 are left out.
    ///
    /// # Errors
    ///
    /// When a folder or file cannot be read
    pub fn read(root: &Path) -> Result<Self> {
        let mut files = Vec::new();
        collect(root, root, &mut files)?;
        files.sort_by(|a, b| a.path.cmp(&b.path));
        Ok(Self { root: root.to_owned(), files })
    }

    /// Gives the text of one file, if it is there.
    #[must_use]
    pub fn text(&self, path: &str) -> Option<&str> {
        self.files.iter().find(|file| file.path == path).map(|file| file.text.as_str())
    }

    /// Gives the files whose path starts and ends so.
    pub fn with<'a>(&'a self, start: &'a str, end: &'a str) -> impl Iterator<Item = &'a TextFile> + 'a {
        self.files.iter().filter(move |file| file.path.starts_with(start) && file.path.ends_with(end))
    }
}

fn collect(root: &Path, folder: &Path, files: &mut Vec<TextFile>) -> Result<()> {
    for item in fs::read_dir(folder).with_context(|| format!("cannot list {}", folder.display()))? {
        let item = item.with_context(|| format!("cannot list {}", folder.display()))?;
        let path = item.path();
        let kind = item.file_type().with_context(|| format!("cannot look at {}", path.display()))?;
        let name = item.file_name();
        if kind.is_dir() {
            if !NOT_OURS.iter().any(|not| name == *not) {
                collect(root, &path, files)?;
            }
        } else if kind.is_file() {
            let bytes = fs::read(&path).with_context(|| format!("cannot read {}", path.display()))?;
            if let Ok(text) = String::from_utf8(bytes) {
                let below = path.strip_prefix(root).unwrap_or(&path);
                let parts: Vec<_> = below.iter().map(|part| part.to_string_lossy().into_owned()).collect();
                files.push(TextFile { path: parts.join("/"), text });
            }
        }
    }
    Ok(())
}
