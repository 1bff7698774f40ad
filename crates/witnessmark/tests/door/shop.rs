//! Runs the built binary in a temporary folder of its own.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// A temporary folder with a store in it.
#[derive(Debug)]
pub(crate) struct Shop {
    folder: tempfile::TempDir,
}

/// What a call gave.
#[derive(Debug)]
pub(crate) struct Said {
    /// The exit code.
    pub(crate) code: i32,
    /// Standard output.
    pub(crate) out: String,
    /// Standard error.
    pub(crate) err: String,
}

impl Said {
    /// The answer as JSON.
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out).unwrap_or_else(|e| panic!("no JSON: {e}\n{}\n{}", self.out, self.err))
    }

    /// Fails unless the exit code is this one.
    pub(crate) fn exits(self, code: i32) -> Said {
        assert_eq!(self.code, code, "stdout:\n{}\nstderr:\n{}", self.out, self.err);
        assert!(!self.err.contains("panicked"), "{}", self.err);
        if code >= 2 {
            assert!(self.err.starts_with("witnessmark: cannot "), "one line with place and next move: {}", self.err);
            assert_eq!(self.err.trim_end().lines().count(), 1, "{}", self.err);
        }
        self
    }
}

/// The binary, with surroundings that do not depend on who runs the test.
pub(crate) fn binary() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_witnessmark"));
    command.env_clear().env("WITNESSMARK_BY", "tester").env("COLUMNS", "80").stdin(Stdio::null());
    command
}

impl Shop {
    /// An empty shop.
    pub(crate) fn new() -> Shop {
        Shop { folder: tempfile::tempdir().expect("a temporary folder") }
    }

    /// A shop with the invented jobs in its store.
    pub(crate) fn with_demo() -> Shop {
        let shop = Shop::new();
        shop.run_bare(&["demo", "--out", "store", "--no-serve", "--quiet"]).exits(0);
        shop
    }

    /// A shop with one job: the engine is told and nothing else.
    pub(crate) fn with_job() -> (Shop, String) {
        let shop = Shop::new();
        let job = shop.opens("Ostrand van, misses when cold");
        (shop, job)
    }

    /// Opens a job with a title and an engine; gives its id.
    pub(crate) fn opens(&self, title: &str) -> String {
        let said = self.run(&[
            "--json",
            "new",
            "--title",
            title,
            "--arrangement",
            "inline",
            "--cylinders",
            "4",
            "--fuel",
            "petrol",
            "--valve-gear",
            "twin-cam",
            "--count-from",
            "free-end",
        ]);
        said.exits(0).json()["job"].as_str().expect("an id").to_owned()
    }

    /// Ticks every caution of some checks.
    pub(crate) fn tick(&self, job: &str, checks: &[&str]) {
        let knowledge = knowledge::Knowledge::builtin().expect("the knowledge");
        for check in checks {
            for caution in &knowledge.check(check).expect("a check").cautions {
                let body = format!("{{\"caution\": \"{caution}\"}}");
                self.run(&["--quiet", "tell", job, "caution-ticked", &body]).exits(0);
            }
        }
    }

    /// A path in the shop.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file in the shop.
    pub(crate) fn write(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.path(name);
        std::fs::write(&path, bytes).expect("the file is written");
        path
    }

    /// Runs the binary on the shop's store.
    pub(crate) fn run(&self, words: &[&str]) -> Said {
        let store = self.path("store");
        let mut all = vec!["--store", store.to_str().expect("a path of text")];
        all.extend(words);
        self.run_bare(&all)
    }

    /// Runs the binary in the shop's folder.
    pub(crate) fn run_bare(&self, words: &[&str]) -> Said {
        said(&binary().current_dir(self.folder.path()).args(words).output().expect("it runs"))
    }
}

/// What an output says.
pub(crate) fn said(output: &Output) -> Said {
    Said {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

/// The text of a file.
pub(crate) fn read(path: &Path) -> Vec<u8> {
    std::fs::read(path).expect("the file is read")
}
